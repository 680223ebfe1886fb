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
from django.utils.translation import gettext_lazy as _

from sessions.facts import plausible
from sessions.facts.choices import Anticoagulant, Buffer
from sessions.models.patient import Patient
from sessions.models.querysets import OfPatientQuerySet, PrescriptionQuerySet


class Dialyser(models.Model):
    """A dialyser that the unit uses. A new figure is a new row: old prescriptions keep theirs."""

    name = models.CharField(max_length=60, unique=True)
    koa_ml_min = models.FloatField("urea KoA as the maker states it, in vitro (mL/min)")
    surface_m2 = models.FloatField("membrane surface (m²)")

    class Meta:
        ordering: ClassVar = ["name"]

    def __str__(self) -> str:
        return f"{self.name} (KoA {self.koa_ml_min:g} mL/min, {self.surface_m2:g} m²)"


@pghistory.track()
class Prescription(models.Model):
    """What the nephrologist ordered, and from when to when it holds. Weekdays: 0 is Monday; none means by count."""

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="prescriptions")
    version = models.PositiveIntegerField()
    in_force = DateTimeRangeField()
    days_per_week = models.FloatField(_("treatments a week"), help_text="3.5 for every other day.")
    weekdays = ArrayField(
        models.PositiveSmallIntegerField(),
        verbose_name=_("weekdays"),
        default=list,
        blank=True,
        help_text="Empty when the days are not fixed.",
    )
    minutes = models.PositiveIntegerField(_("minutes"))
    max_minutes = models.PositiveIntegerField(_("longest allowed (minutes)"))
    qb_ml_min = models.FloatField(_("blood flow rate, Qb (mL/min)"))
    qd_ml_min = models.FloatField(_("dialysate flow rate, Qd (mL/min)"))
    dialyser = models.ForeignKey(Dialyser, on_delete=models.PROTECT, verbose_name=_("dialyser"))
    dialysate_k_mmol_l = models.FloatField(_("dialysate potassium (mmol/L)"))
    dialysate_ca_mmol_l = models.FloatField(_("dialysate calcium (mmol/L)"))
    dialysate_buffer = models.CharField(
        _("dialysate buffer"), max_length=12, choices=Buffer, default=Buffer.BICARBONATE
    )
    dialysate_buffer_mmol_l = models.FloatField(_("dialysate buffer (mmol/L)"))
    dialysate_na_mmol_l = models.FloatField(_("dialysate sodium (mmol/L)"))
    dialysate_temperature_c = models.FloatField(_("dialysate temperature (°C)"))
    target_weight_kg = models.FloatField(_("target weight (kg)"))
    uf_rate_limit_ml_kg_h = models.FloatField(_("UF rate limit (mL/kg/h)"))
    anticoagulant = models.CharField(_("anticoagulation"), max_length=16, choices=Anticoagulant)
    bolus_units = models.FloatField(_("bolus (units)"), null=True, blank=True)
    rate_units_h = models.FloatField(_("rate (units/h)"), null=True, blank=True)
    stop_minutes_before_end = models.PositiveIntegerField(_("stop before the end (minutes)"), null=True, blank=True)
    needle_gauge = models.PositiveSmallIntegerField(_("needle gauge (G)"), null=True, blank=True)
    reading_interval_minutes = models.PositiveIntegerField(_("readings every (minutes)"))
    quiet_at_night = models.BooleanField(_("no readings asked for during sleep"), default=False)
    note = models.TextField(_("note"), blank=True)
    signed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    signed_at = models.DateTimeField()

    objects = PrescriptionQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-version"]
        constraints: ClassVar = [
            ExclusionConstraint(
                name="prescription_one_in_force",
                expressions=[("patient", RangeOperators.EQUAL), ("in_force", RangeOperators.OVERLAPS)],
                violation_error_message="Another prescription is in force for a part of this time.",
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
        for name, limits in plausible.PRESCRIPTION.items():
            given = getattr(self, name, None)
            if given is not None and (why := limits.refusal(given)):
                problems[name] = why
        if self.minutes and self.max_minutes and self.max_minutes < self.minutes:
            problems["max_minutes"] = f"Longest allowed must be at least the {self.minutes} minutes prescribed."
        if self.weekdays and self.days_per_week != len(self.weekdays):
            problems["weekdays"] = (
                f"{len(self.weekdays)} days are marked, but {self.days_per_week:g} a week are prescribed."
            )
        if problems:
            raise ValidationError(problems)

    @property
    def uf_rate_words(self) -> str:
        return f"{self.uf_rate_limit_ml_kg_h:g} mL/kg/h"


class PrescriptionDraft(models.Model):
    """A schedule that somebody of the unit worked out and left for the nephrologist: no prescription.

    values: {field of Prescription: what it would be}; what is not in it stays as in force.
    """

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="drafts")
    values = models.JSONField()
    words = models.TextField("why", blank=True)
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
