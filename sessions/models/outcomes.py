"""What befalls a patient beside the treatments, for the unit's quality meeting: infections, hospital stays, leaving."""

from __future__ import annotations

from typing import ClassVar, Self

import pghistory
from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext, gettext_noop
from django.utils.translation import gettext_lazy as _

from homedialysis.accounts.services.dates import short_day
from sessions.facts.choices import InfectionKind, StayKind
from sessions.models.patient import Patient, VascularAccess
from sessions.models.querysets import EntryQuerySet


class OfAccessQuerySet(EntryQuerySet):
    path_to_patient = "access__patient"


class NotedOutcome(models.Model):
    """Who noted it, and why it counts no more where it was taken back."""

    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    taken_back = models.CharField(_("taken back because"), max_length=200, blank=True)

    class Meta:
        abstract = True


@pghistory.track()
class AccessInfection(NotedOutcome):
    """An infection of a vascular access, as the unit's physicians judged it."""

    access = models.ForeignKey(
        VascularAccess, on_delete=models.PROTECT, related_name="infections", verbose_name=_("access")
    )
    kind = models.CharField(_("kind"), max_length=12, choices=InfectionKind)
    began_on = models.DateField(_("began on"))
    words = models.CharField(_("what was found"), max_length=200, blank=True)

    objects = OfAccessQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-began_on"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                name="infection_once",
                fields=["access", "kind", "began_on"],
                condition=Q(taken_back=""),
                violation_error_message=_("This infection is entered already."),
            )
        ]

    def __str__(self) -> str:
        return gettext("%(kind)s from %(day)s") % {"kind": self.get_kind_display(), "day": short_day(self.began_on)}


_FROM = {
    StayKind.HOSPITAL: gettext_noop("In hospital from %(day)s"),
    StayKind.AWAY: gettext_noop("Away from %(day)s"),
    StayKind.CENTRE: gettext_noop("In the centre from %(day)s"),
    StayKind.PAUSED: gettext_noop("Home dialysis paused from %(day)s"),
}


class StayQuerySet(EntryQuerySet):
    def in_hospital(self) -> Self:
        """Without days away for other reasons."""
        return self.filter(kind=StayKind.HOSPITAL)


@pghistory.track()
class HospitalStay(NotedOutcome):
    """Days in hospital, away, in the centre or in a pause, on which no treatment at home is due; without an end the
    patient is there still.
    """

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="hospital_stays")
    kind = models.CharField(_("where"), max_length=8, choices=StayKind, default=StayKind.HOSPITAL)
    admitted_on = models.DateField(_("from"))
    discharged_on = models.DateField(_("to"), null=True, blank=True)
    words = models.CharField(_("why"), max_length=200, blank=True)

    objects = StayQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-admitted_on"]
        constraints: ClassVar = [
            models.CheckConstraint(
                name="hospital_stay_in_order",
                condition=Q(discharged_on=None) | Q(discharged_on__gte=F("admitted_on")),
                violation_error_message=_("The last day must not lie before the first."),
            ),
            models.UniqueConstraint(
                name="hospital_stay_once",
                fields=["patient", "admitted_on"],
                condition=Q(taken_back=""),
                violation_error_message=_("A stay from this day is entered already."),
            ),
        ]

    def __str__(self) -> str:
        return gettext(_FROM[StayKind(self.kind)]) % {"day": short_day(self.admitted_on)}
