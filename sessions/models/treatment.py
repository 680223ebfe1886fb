"""Treatment records: what the patient wrote down of one treatment.

`document` is the record as it was handed in and judged possible; the columns and the child rows are the same
facts laid out for queries, always written together with it by `services.recording`. The columns of numbers are made
from their declaration in `facts.fields`. Database triggers keep each
version of a record, so every document that ever stood can be shown again.
"""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from typing import Any, ClassVar

import pghistory
from django.conf import settings
from django.db import models
from django.db.models import F, Q

from sessions.facts.choices import (
    BloodReturn,
    CheckPart,
    DialyserLook,
    EarlyReason,
    EventKind,
    EventOutcome,
    HelpCalled,
    NeedleKind,
    PlanChoice,
    RecordSource,
    RecordState,
    SiteUse,
)
from sessions.facts.fields import CHECK, EVENT, MEDICINE, READING, SITE, TREATMENT
from sessions.models.columns import DeclaredNumbers, with_columns
from sessions.models.patient import AccessSite, Patient
from sessions.models.prescription import Prescription
from sessions.models.querysets import TreatmentQuerySet, TreatmentsDone
from sessions.texts.checklist import name_of

EPOCH = datetime.fromtimestamp(0, UTC)

UNDER_WAY = timedelta(hours=24)
"""For so long after its start a treatment that was not handed over may still be running; later it was left open."""


def etag_of(revision: int, received_at: datetime) -> str:
    """The ETag of a version: its number and the microsecond in which it was written."""
    return f'"{revision}-{(received_at - EPOCH) // timedelta(microseconds=1):x}"'


def moment_in(etag: str) -> datetime:
    """When the version of an ETag was written. Raises ValueError when it is none of ours."""
    _revision, _dash, written = etag.strip('"').partition("-")
    return EPOCH + timedelta(microseconds=int(written, 16))


@pghistory.track()
@with_columns(TREATMENT)
class TreatmentRecord(DeclaredNumbers):
    """One treatment. The phone makes the id, so that sending again can never make two."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="treatments")
    prescription = models.ForeignKey(Prescription, null=True, on_delete=models.PROTECT, related_name="treatments")
    revision = models.PositiveIntegerField(default=1)
    state = models.CharField(max_length=10, choices=RecordState, default=RecordState.OPEN)
    source = models.CharField(max_length=5, choices=RecordSource, blank=True)
    night = models.DateField(help_text="The date on which the treatment began, where the patient lives.")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    plan_choice = models.CharField(max_length=14, choices=PlanChoice, blank=True)
    dialyser_look = models.CharField(max_length=10, choices=DialyserLook, blank=True)
    blood_return = models.CharField(max_length=5, choices=BloodReturn, blank=True)
    early_reason = models.CharField(max_length=8, choices=EarlyReason, blank=True)
    disinfected = models.BooleanField(null=True)
    checklist_version = models.PositiveIntegerField(null=True)
    run_sheet_version = models.PositiveIntegerField(null=True)
    prescription_version = models.PositiveIntegerField(null=True, help_text="Which one the phone had.")
    notes = models.TextField(blank=True)
    document = models.JSONField()
    marks = models.JSONField(default=list)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    received_at = models.DateTimeField()
    clock_offset_s = models.BigIntegerField(null=True, help_text="Seconds by which the phone's clock was ahead.")
    finished_at = models.DateTimeField(null=True)

    objects = TreatmentsDone()
    with_mistaken = TreatmentQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-started_at"]
        indexes: ClassVar = [models.Index(fields=["patient", "-started_at"], name="treatment_of_patient")]
        constraints: ClassVar = [
            models.CheckConstraint(
                name="treatment_ends_after_start",
                condition=Q(ended_at=None) | Q(ended_at__gt=F("started_at")),
            ),
        ]

    def __str__(self) -> str:
        return f"Treatment of {self.patient} on {self.night:%Y-%m-%d}"

    @property
    def minutes(self) -> float | None:
        """Minutes from start to end, or None while it runs."""
        return (self.ended_at - self.started_at).total_seconds() / 60 if self.ended_at else None

    @property
    def etag(self) -> str:
        """Names what stands here and nothing else: a revision alone is counted anew where a backup was brought back."""
        return etag_of(self.revision, self.received_at)

    @property
    def as_sent(self) -> dict[str, Any]:
        """The document with what the server adds to it, as the API answers."""
        added = {
            "id": str(self.pk),
            "patient": str(self.patient_id),
            "revision": self.revision,
            "etag": self.etag,
            "night": self.night.isoformat(),
            "received_at": self.received_at.isoformat(),
            "clock_offset_s": self.clock_offset_s,
            "entered_by": {"id": self.recorded_by_id, "name": str(self.recorded_by)},
            "marks": self.marks,
        }
        return dict(self.document) | added


class PartOfRecord(DeclaredNumbers):
    record = models.ForeignKey(TreatmentRecord, on_delete=models.CASCADE)

    class Meta:
        abstract = True


@with_columns(READING)
class Reading(PartOfRecord):
    """One look at the machine and the patient during the treatment."""

    at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["at"]
        constraints: ClassVar = [models.UniqueConstraint(name="reading_once_at_a_time", fields=["record", "at"])]

    def __str__(self) -> str:
        return f"Reading at {self.at:%H:%M}"


@with_columns(EVENT)
class Event(PartOfRecord):
    """A symptom or something that went wrong."""

    at = models.DateTimeField()
    kind = models.CharField(max_length=20, choices=EventKind)
    note = models.TextField(blank=True)
    paused_at = models.DateTimeField(null=True, help_text="Fluid removal off, or the blood pump stopped.")
    resumed_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True, help_text="When it was over, whatever came of it.")
    outcome = models.CharField(max_length=7, choices=EventOutcome, blank=True)
    called = models.CharField(max_length=11, choices=HelpCalled, blank=True)
    use = models.CharField(max_length=10, choices=SiteUse, blank=True, help_text="Of the needle it is about.")

    class Meta:
        ordering: ClassVar = ["at"]

    def __str__(self) -> str:
        return self.get_kind_display()


@with_columns(MEDICINE)
class Medicine(PartOfRecord):
    """A medicine given during the treatment."""

    at = models.DateTimeField()
    name = models.CharField(max_length=80)
    unit = models.CharField(max_length=20, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar = ["at"]

    def __str__(self) -> str:
        return self.name


@with_columns(CHECK)
class AnsweredCheck(PartOfRecord):
    """A check of the unit's list, with its answer; one that failed may be overruled, with a reason."""

    name = models.CharField(max_length=80)
    key = models.CharField(max_length=40, blank=True, help_text="Its item in the unit's list.")
    part = models.CharField(max_length=6, choices=CheckPart, blank=True)
    passed = models.BooleanField()
    unit = models.CharField(max_length=20, blank=True)
    note = models.TextField(blank=True)
    overruled = models.BooleanField(default=False)
    reason = models.TextField(blank=True)
    at = models.DateTimeField(null=True)

    class Meta:
        ordering: ClassVar = ["pk"]

    def __str__(self) -> str:
        return self.name

    @property
    def words(self) -> str:
        """Its name for whoever reads: a check of the program's own list is not bound to the language of the phone."""
        return name_of(self.key, self.record.checklist_version, self.name)


@with_columns(SITE)
class SiteUsed(PartOfRecord):
    """A needle site used, with what needle and how it went, and how long it bled after the needle came out."""

    site = models.ForeignKey(AccessSite, on_delete=models.PROTECT, related_name="uses")
    use = models.CharField(max_length=10, choices=SiteUse)
    needle = models.CharField(max_length=7, choices=NeedleKind, blank=True)
    flash = models.BooleanField(null=True)
    flushed = models.BooleanField(null=True)
    note = models.TextField(blank=True)
    at = models.DateTimeField(null=True)

    class Meta:
        ordering: ClassVar = ["pk"]

    def __str__(self) -> str:
        return f"{self.site} ({self.use})"


class StepDone(PartOfRecord):
    """A step of the run sheet, with the moment at which the phone was told that it is done."""

    at = models.DateTimeField()
    key = models.CharField(max_length=40, blank=True)
    words = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar = ["at", "pk"]

    def __str__(self) -> str:
        return self.words or self.key
