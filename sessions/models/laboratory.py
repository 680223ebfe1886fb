"""Blood results, in canonical units, each tied to a treatment where it belongs to one; and how they came in."""

from __future__ import annotations

from typing import Any, ClassVar

import pghistory
from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from sessions.facts import plausible
from sessions.facts.choices import Analyte, BloodBound, MessageFormat, PostSampleMethod, SampleTiming
from sessions.models.patient import Patient
from sessions.models.querysets import BloodsMeasured, BloodsWithBounds, OfPatientQuerySet, StaffOnlyQuerySet
from sessions.models.treatment import TreatmentRecord


class Laboratory(models.Model):
    """A laboratory that sends results, and how its tables are read.

    columns: {what we need: its column's name}; codes: {its own code of a test: LOINC}; decimal_comma,
    thousands (the sign between them) and the formats say how it writes numbers and times, encoding its letters.
    """

    name = models.CharField(_("name"), max_length=80, unique=True)
    columns = models.JSONField(default=dict, blank=True)
    codes = models.JSONField(_("its own codes"), default=dict, blank=True)
    decimal_comma = models.BooleanField(_("writes 5,4 for 5.4"), default=False)
    thousands = models.CharField(_("between thousands"), max_length=1, blank=True)
    encoding = models.CharField(_("letters as"), max_length=12, default="utf-8-sig")
    date_format = models.CharField(_("dates as"), max_length=30, default="%Y-%m-%d")
    time_format = models.CharField(_("times as"), max_length=30, default="%Y-%m-%d %H:%M")

    objects = StaffOnlyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["name"]
        verbose_name_plural = "laboratories"

    def __str__(self) -> str:
        return self.name


class LabMessage(models.Model):
    """One file or message of a laboratory, kept as it came."""

    laboratory = models.ForeignKey(Laboratory, on_delete=models.PROTECT, related_name="messages")
    form = models.CharField(max_length=8, choices=MessageFormat)
    filename = models.CharField(max_length=120, blank=True)
    body = models.BinaryField()
    digest = models.CharField(max_length=64)
    received_at = models.DateTimeField()
    received_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    taken_at = models.DateTimeField(null=True)
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    objects = StaffOnlyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-received_at", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(name="lab_message_once", fields=["laboratory", "digest"]),
            models.CheckConstraint(
                name="lab_message_taken_by_somebody",
                condition=Q(taken_at=None, taken_by=None) | Q(taken_at__isnull=False, taken_by__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.filename or self.get_form_display()} of {self.laboratory}"


@pghistory.track()
class BloodResult(models.Model):
    """One result. `value` is in the analyte's canonical unit (see plausible.BLOOD); with a bound it is no value, only
    what the value lies beyond. comment: what the laboratory wrote beside it, such as that the sample was haemolysed.

    What a laboratory sent is kept beside it as it was written: value, unit, reference range and flag. specimen and
    version (0: by hand) tell a correction from a second sample. entered_by and entered_at are of the newest version; a
    trigger keeps the earlier ones. One that was taken back stays with its reason, tied to no treatment any more.
    """

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="bloods")
    treatment = models.ForeignKey(
        TreatmentRecord, null=True, blank=True, on_delete=models.SET_NULL, related_name="bloods"
    )
    analyte = models.CharField(max_length=10, choices=Analyte)
    value = models.FloatField()
    drawn_at = models.DateTimeField(_("drawn at"))
    timing = models.CharField(max_length=6, choices=SampleTiming)
    post_method = models.CharField(max_length=16, choices=PostSampleMethod, blank=True)
    post_minutes = models.FloatField(
        null=True, blank=True, help_text=_("From the end of the treatment to a late sample, where it was noted.")
    )
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    message = models.ForeignKey(LabMessage, null=True, blank=True, on_delete=models.PROTECT, related_name="results")
    specimen = models.CharField(max_length=60, blank=True)
    version = models.BigIntegerField(default=0)
    code = models.CharField(_("code as sent"), max_length=40, blank=True)
    value_sent = models.CharField(max_length=40, blank=True)
    unit_sent = models.CharField(max_length=40, blank=True)
    reference = models.CharField(_("laboratory's reference range"), max_length=60, blank=True)
    flag = models.CharField(_("laboratory's flag"), max_length=10, blank=True)
    bound = models.CharField(_("bound"), max_length=2, choices=BloodBound, blank=True)
    comment = models.CharField(_("laboratory's comment"), max_length=500, blank=True)
    corrected_because = models.CharField(_("corrected because"), max_length=200, blank=True)
    taken_back = models.CharField(_("taken back because"), max_length=200, blank=True)

    objects = BloodsMeasured()
    with_bounds = BloodsWithBounds()
    with_taken_back = OfPatientQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-drawn_at"]
        indexes: ClassVar = [models.Index(fields=["patient", "analyte", "-drawn_at"], name="blood_of_patient")]
        constraints: ClassVar = [
            models.UniqueConstraint(
                name="blood_result_once",
                fields=["patient", "analyte", "drawn_at", "timing"],
                condition=Q(taken_back=""),
            ),
            models.CheckConstraint(name="blood_post_method", condition=Q(timing=SampleTiming.POST) | Q(post_method="")),
            models.CheckConstraint(
                name="blood_post_minutes", condition=Q(post_method=PostSampleMethod.LATE) | Q(post_minutes=None)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_analyte_display()} of {self.patient}"


class LabLine(models.Model):
    """One result of a message: as it was read, what was found out about it, and what became of it.

    row: what the parser read (importing.rows.Row as JSON). verdict: new, there, corrects, asks or rejected.
    reason: sentences by code, [{"code", "parts"}]. options: where it asks, [{"key", "given", "value", "timing"}].
    """

    message = models.ForeignKey(LabMessage, on_delete=models.CASCADE, related_name="lines")
    index = models.PositiveIntegerField()
    row = models.JSONField()
    verdict = models.CharField(max_length=8)
    reason = models.JSONField(default=list)
    options = models.JSONField(default=list)
    answer = models.CharField(max_length=20, blank=True)
    patient = models.ForeignKey(Patient, null=True, on_delete=models.CASCADE, related_name="+")
    analyte = models.CharField(max_length=10, choices=Analyte, blank=True)
    value = models.FloatField(null=True)
    timing = models.CharField(max_length=6, choices=SampleTiming, blank=True)
    result = models.ForeignKey(BloodResult, null=True, on_delete=models.SET_NULL, related_name="lines")
    taken = models.BooleanField(default=False)

    objects = StaffOnlyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["index"]
        constraints: ClassVar = [models.UniqueConstraint(name="lab_line_once", fields=["message", "index"])]

    def __str__(self) -> str:
        return f"{self.row.get('place')} of {self.message_id}"


@pghistory.track()
class UrineCollection(models.Model):
    """All urine of an interval between two treatments, and what was in it: urea in mmol/L, creatinine in mmol/L."""

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="urine_collections")
    began_at = models.DateTimeField(_("began"))
    ended_at = models.DateTimeField(_("ended"))
    volume_ml = models.FloatField(_("volume (mL)"))
    urea_mmol_l = models.FloatField(_("urea in the urine (mmol/L)"), null=True, blank=True)
    creatinine_mmol_l = models.FloatField(_("creatinine in the urine (mmol/L)"), null=True, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()

    objects = OfPatientQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-ended_at"]
        constraints: ClassVar = [
            models.CheckConstraint(name="urine_ends_after_it_began", condition=Q(ended_at__gt=F("began_at"))),
            models.UniqueConstraint(name="urine_once", fields=["patient", "ended_at"]),
        ]

    def __str__(self) -> str:
        return f"Urine of {self.patient} to {self.ended_at:%Y-%m-%d}"

    @property
    def minutes(self) -> float:
        return (self.ended_at - self.began_at).total_seconds() / 60

    def clean(self) -> None:
        problems: dict[str, Any] = {}
        for name, limits in plausible.URINE.items():
            given = getattr(self, name, None)
            if given is not None and (why := limits.refusal(given)):
                problems[name] = why
        if self.began_at and self.ended_at and (why := plausible.MINUTES_OF_COLLECTION.refusal(self.minutes)):
            problems["ended_at"] = why
        if problems:
            raise ValidationError(problems)
