"""Patients, who helps them, and their vascular access."""

from __future__ import annotations

import uuid
from datetime import date
from typing import ClassVar, Self

import pghistory
import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from homedialysis.accounts.models import known_time_zone
from sessions.facts.choices import AccessKind, FlowDirection, LeftReason, Limb, Sex, Side, SiteUse, Technique
from sessions.models.querysets import OfPatientQuerySet, PatientQuerySet


@pghistory.track()
class Patient(models.Model):
    """A person who dialyses at home."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    account = models.OneToOneField(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="patient"
    )
    name = models.CharField(_("name"), max_length=120)
    hospital_number = models.CharField(_("hospital number"), max_length=40, unique=True)
    birth_date = models.DateField(_("date of birth"))
    sex = models.CharField(_("sex"), max_length=10, choices=Sex, help_text=_("As the body-water equations need it."))
    height_cm = models.FloatField(_("height (cm)"))
    phone = models.CharField(_("telephone"), max_length=30, blank=True)
    time_zone = models.CharField(_("time zone"), max_length=60, blank=True, validators=[known_time_zone])
    places = models.JSONField(_("other places"), default=list, blank=True)
    """Where the patient is for some days beside home: rows of `facts.places.Place`."""
    short_sheets = models.BooleanField(
        _("may go through the sheets in short"), default=False,
        help_text=_("For whoever is experienced: several steps on one screen, each named."),
    )  # fmt: skip
    joined_on = models.DateField(_("in the programme since"))
    left_on = models.DateField(_("left the programme on"), null=True, blank=True)
    left_reason = models.CharField(_("why"), max_length=12, choices=LeftReason, blank=True)

    objects = PatientQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["name"]

    def __str__(self) -> str:
        return self.name


class Caution(models.Model):
    """What everybody who treats a patient has to know: allergies, and dangers. The newest row holds; none goes away.

    A text, or that it was asked and there is none; neither: nobody has asked yet.
    """

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="cautions")
    allergies = models.CharField(_("allergies"), max_length=300, blank=True)
    no_allergies = models.BooleanField(_("asked: no allergy is known"), default=False)
    dangers = models.CharField(_("dangers"), max_length=300, blank=True)
    no_dangers = models.BooleanField(_("asked: nothing of this kind"), default=False)
    written_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField()

    objects = OfPatientQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-written_at", "-pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                name="caution_says_one_thing",
                condition=(Q(no_allergies=False) | Q(allergies="")) & (Q(no_dangers=False) | Q(dangers="")),
                violation_error_message=_("Either words, or that there is nothing: not both."),
            )
        ]
        triggers: ClassVar = [
            pgtrigger.Protect(name="caution_only_added", operation=pgtrigger.Update | pgtrigger.Delete)
        ]

    def __str__(self) -> str:
        return f"Cautions of {self.patient}, {self.written_at:%Y-%m-%d}"


NOT_ENDED = Q(ended_at__isnull=True, ended_by__isnull=True)
ENDED_BY_SOMEBODY = Q(ended_at__isnull=False, ended_by__isnull=False)


class WhoHelpsNow(models.Manager["CarePartner"]):
    """Only those who help now: whoever is asked for in any other way sees nothing of a patient any more."""

    def get_queryset(self) -> models.QuerySet[CarePartner]:
        return super().get_queryset().filter(ended_at=None)


class EveryHelper(models.Manager["CarePartner"]):
    """Also those whose help was ended: for the history alone."""


class CarePartner(models.Model):
    """Someone who helps a patient at home and may fill in the record, until that is ended."""

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="cares_for")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = WhoHelpsNow()
    ever = EveryHelper()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(name="care_partner_once", fields=["patient", "user"], condition=Q(ended_at=None)),
            models.CheckConstraint(name="help_is_ended_by_somebody", condition=NOT_ENDED | ENDED_BY_SOMEBODY),
        ]

    def __str__(self) -> str:
        return f"{self.user} helps {self.patient}"


class AccessQuerySet(OfPatientQuerySet):
    def in_use(self, on: date | None = None) -> Self:
        """Those in use on a day, the newest first; without a day the one that is in use now."""
        if on is None:
            return self.filter(abandoned_on=None)
        there = self.filter(Q(abandoned_on=None) | Q(abandoned_on__gt=on), created_on__lte=on)
        return there.order_by("-created_on", "-pk")


@pghistory.track()
class VascularAccess(models.Model):
    """A fistula, graft or catheter; one at a time is the one in use."""

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="accesses")
    kind = models.CharField(_("kind"), max_length=10, choices=AccessKind)
    side = models.CharField(_("side"), max_length=5, choices=Side)
    place = models.CharField(_("place"), max_length=80, help_text=_("For example: upper arm."))
    limb = models.CharField(_("drawn as"), max_length=10, choices=Limb, default=Limb.FOREARM)
    flow = models.CharField(_("blood runs"), max_length=4, choices=FlowDirection, default=FlowDirection.UP)
    created_on = models.DateField(_("made on"))
    abandoned_on = models.DateField(_("given up on"), null=True, blank=True)

    objects = AccessQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "vascular accesses"
        constraints: ClassVar = [
            models.UniqueConstraint(
                name="access_one_in_use",
                fields=["patient"],
                condition=Q(abandoned_on=None),
                violation_error_message=_("This patient has an access in use: give that one up first."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_side_display()} {self.place} {self.get_kind_display()}"

    def free_sites(self, day: date) -> list[AccessSite]:
        """Where a needle may go in on that day."""
        return [site for site in self.sites.all() if not site.rests_on(day)]


class AccessSiteQuerySet(OfPatientQuerySet):
    path_to_patient = "access__patient"


class AccessSite(models.Model):
    """A place on the access where a needle goes in, or a lumen of a catheter."""

    access = models.ForeignKey(VascularAccess, on_delete=models.CASCADE, related_name="sites")
    name = models.CharField(_("name"), max_length=40)
    use = models.CharField(_("use"), max_length=10, choices=SiteUse)
    technique = models.CharField(_("technique"), max_length=12, choices=Technique)
    resting = models.BooleanField(_("not to be used for now"), default=False)
    rest_until = models.DateField(_("rests until"), null=True, blank=True)
    x = models.FloatField(_("across the drawn limb, 0 to 1"), null=True, blank=True)
    y = models.FloatField(_("down the drawn limb, 0 to 1"), null=True, blank=True)

    objects = AccessSiteQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["use", "name"]
        constraints: ClassVar = [
            models.UniqueConstraint(name="site_name_once", fields=["access", "name"]),
            models.CheckConstraint(
                name="site_on_the_drawn_limb",
                condition=Q(x=None, y=None) | Q(x__gte=0, x__lte=1, y__gte=0, y__lte=1),
                violation_error_message=_("Both places on the drawing must lie between 0 and 1, or both be empty."),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def rests_on(self, day: date) -> bool:
        """Whether no needle should go in here on that day."""
        return self.resting or (self.rest_until is not None and day <= self.rest_until)
