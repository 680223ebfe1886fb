"""Prescriptions: versioned, one in force at a time, each answered for by a named person."""

from __future__ import annotations

from typing import ClassVar

import pghistory
from django.conf import settings
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import ArrayField, DateTimeRangeField, RangeOperators
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Func, Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from sessions.facts.choices import Anticoagulant, Buffer
from sessions.facts.local_number import plain
from sessions.facts.ordered import NUMBERS, ORDERED
from sessions.models.columns import DeclaredOrders, with_columns
from sessions.models.dialyser import Dialyser
from sessions.models.patient import Patient
from sessions.models.querysets import OfPatientQuerySet, PrescriptionQuerySet

ALWAYS = frozenset(name for name, each in ORDERED.items() if each.needed)


@pghistory.track()
@with_columns(NUMBERS, needed=ALWAYS)
class Prescription(DeclaredOrders):
    """What the nephrologist ordered, and from when to when it holds. Weekdays: 0 is Monday; none means by count."""

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="prescriptions")
    version = models.PositiveIntegerField()
    in_force = DateTimeRangeField()
    weekdays = ArrayField(
        models.PositiveSmallIntegerField(),
        default=list,
        blank=True,
        help_text=_("Empty when the days are not fixed."),
    )
    dialyser = models.ForeignKey(Dialyser, on_delete=models.PROTECT)
    dialysate_buffer = models.CharField(max_length=12, choices=Buffer, default=Buffer.BICARBONATE)
    anticoagulant = models.CharField(max_length=16, choices=Anticoagulant)
    quiet_at_night = models.BooleanField(default=False)
    note = models.TextField(blank=True)
    signed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    signed_at = models.DateTimeField()

    objects = PrescriptionQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-version"]
        constraints: ClassVar = [
            ExclusionConstraint(
                name="prescription_one_in_force",
                expressions=[("patient", RangeOperators.EQUAL), ("in_force", RangeOperators.OVERLAPS)],
                violation_error_message=_("Another prescription is in force for a part of this time."),
            ),
            models.UniqueConstraint(name="prescription_version_once", fields=["patient", "version"]),
            models.CheckConstraint(name="prescription_minutes", condition=Q(max_minutes__gte=F("minutes"))),
            models.CheckConstraint(
                name="prescription_begins",
                condition=Q(in_force__startswith__isnull=False) & ~Q(in_force__isempty=True),
            ),
        ]

    def __str__(self) -> str:
        return f"Prescription {self.version} of {self.patient}"

    def clean(self) -> None:
        problems: dict[str, str] = {}
        for name, limits in NUMBERS.items():
            given = getattr(self, name, None)
            if given is not None and (why := limits.refusal(given)):
                problems[name] = why
        if self.minutes and self.max_minutes and self.max_minutes < self.minutes:
            problems["max_minutes"] = gettext(
                "Longest allowed must be at least the %(minutes)s minutes prescribed."
            ) % {"minutes": self.minutes}
        if self.weekdays and self.days_per_week != len(self.weekdays):
            problems["weekdays"] = gettext("%(marked)s days are marked, but %(prescribed)s a week are prescribed.") % {
                "marked": len(self.weekdays),
                "prescribed": plain(self.days_per_week),
            }
        if problems:
            raise ValidationError(problems)

    @property
    def uf_rate_words(self) -> str:
        return f"{self.uf_rate_limit_ml_kg_h:g} mL/kg/h"


class PrescriptionDraft(models.Model):
    """A schedule that somebody of the unit worked out and left for the nephrologist: no prescription.

    values: {field of Prescription: what it would be}, and `starts_on` where a day was chosen (ISO); what is not in it
    stays as in force. expected: what the planner's model said then, by name.
    """

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="drafts")
    values = models.JSONField()
    words = models.TextField(_("why"), blank=True)
    expected = models.JSONField(default=dict)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    dropped_at = models.DateTimeField(null=True, blank=True)
    signed_as = models.OneToOneField(
        Prescription, null=True, blank=True, on_delete=models.PROTECT, related_name="draft"
    )

    objects = OfPatientQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-made_at"]

    def __str__(self) -> str:
        return f"Draft of {self.made_at:%Y-%m-%d} for {self.patient}"


class TimeRange(Func):
    """tstzrange(from, to, bounds) in a query."""

    function = "TSTZRANGE"
    output_field = DateTimeRangeField()
