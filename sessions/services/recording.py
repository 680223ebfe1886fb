"""Write a treatment record: created once, replaced only by who has seen what is replaced."""

from __future__ import annotations

import copy
import uuid
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError, models, transaction
from django.utils.translation import gettext as _

from homedialysis.accounts.models import User
from sessions.facts import plausible
from sessions.facts.choices import EntryEnd
from sessions.facts.fields import EVENT_MOMENTS, TREATMENT
from sessions.models import (
    AnsweredCheck,
    Event,
    Medicine,
    Patient,
    Prescription,
    Reading,
    RecordState,
    SiteUsed,
    StepDone,
    TreatmentRecord,
)
from sessions.models.local_time import night_of, zone_of
from sessions.services.bloods import tie_bloods
from sessions.services.handing_over import entry_is_over
from sessions.services.own_ranges import usual_of
from sessions.signals import treatment_recorded

Document = dict[str, Any]
"""A treatment document as judged possible: plain JSON, times as UTC text."""

COLUMNS = (
    *TREATMENT,
    "source",
    "plan_choice",
    "dialyser_look",
    "blood_return",
    "early_reason",
    "disinfected",
    "checklist_version",
    "run_sheet_version",
    "prescription_version",
    "notes",
)
PARTS: dict[str, type[models.Model]] = {
    "readings": Reading,
    "events": Event,
    "medicines": Medicine,
    "checks": AnsweredCheck,
    "sites": SiteUsed,
    "steps": StepDone,
}


@dataclass(frozen=True, slots=True)
class Written:
    """What came of a write: the record, whether it is new, whether anything changed."""

    record: TreatmentRecord
    created: bool
    changed: bool


class NeedsRevision(Exception):
    """The record exists with other content, and the writer did not say which revision it replaces."""

    def __init__(self, record: TreatmentRecord) -> None:
        words = _("The record stands at %(standing)s; say that in If-Match to replace it.")
        super().__init__(words % {"standing": record.etag})
        self.record = record


class StaleRevision(Exception):
    """What stands there is not what the writer last saw, and wants to replace."""

    def __init__(self, record: TreatmentRecord, expected: str) -> None:
        words = _("The record stands at %(standing)s, not at %(expected)s.")
        super().__init__(words % {"standing": record.etag, "expected": expected})
        self.record = record


class NothingToReplace(Exception):
    """There is no such record: it was never sent here, or went with a backup that was brought back."""

    def __init__(self) -> None:
        super().__init__(_("There is no such record to replace. Send it without If-Match to create it."))


class TakenId(Exception):
    """The id belongs to a record of somebody else."""


class HandedOver(Exception):
    """A record that was handed over can be corrected, but not opened again."""


@transaction.atomic
def record_treatment(
    *,
    record_id: uuid.UUID,
    patient: Patient,
    document: Document,
    by: User,
    at: datetime,
    replaces: str | None = None,
    clock_offset_s: int | None = None,
) -> Written:
    """Create the record, or replace it where `replaces` is the ETag of what stands.

    `clock_offset_s` is by how many seconds the phone's clock was ahead of the server's, where it said so.
    The same document sent again changes nothing and is answered like the first time, so a lost answer is
    no harm. Raises NeedsRevision, StaleRevision, NothingToReplace, HandedOver, or TakenId.
    """
    entry_is_over(entry_id=record_id, how=EntryEnd.SENT, at=at)
    record = TreatmentRecord(pk=record_id, patient=patient, clock_offset_s=clock_offset_s)
    if replaces is not None and not _is_there(record):
        raise NothingToReplace
    if _created(record, document, by, at):
        _lay_out(record)
        tie_bloods(record)
        treatment_recorded.send(sender=TreatmentRecord, record=record)
        return Written(record, created=True, changed=True)
    record = TreatmentRecord.with_mistaken.select_for_update(no_key=True).get(pk=record_id)
    if record.patient_id != patient.pk:
        raise TakenId
    if same_facts(record.document, document):
        return Written(record, created=False, changed=False)
    if replaces is None:
        raise NeedsRevision(record)
    if replaces != record.etag:
        raise StaleRevision(record, replaces)
    if record.state == RecordState.FINISHED and document["status"] == RecordState.OPEN:
        raise HandedOver
    return _replace(record, document, by, at, clock_offset_s)


def add_readings(
    *, record: TreatmentRecord, document: Document, by: User, at: datetime, clock_offset_s: int | None = None
) -> Written:
    """Put a document with more readings in the place of the locked record's."""
    if same_facts(record.document, document):
        return Written(record, created=False, changed=False)
    return _replace(record, document, by, at, clock_offset_s)


def merged_readings(document: Document, late: list[Document]) -> tuple[Document, list[int]]:
    """The document with late readings added in order of time, and the indices of those that contradict it.

    What was confirmed stays confirmed where it now stands.

    A late reading contradicts when another one stands at its time with other numbers; one that says the
    same is already there.
    """
    merged = copy.deepcopy(document)
    standing = {reading["at"]: reading for reading in merged["readings"]}
    contradicting = []
    for index, reading in enumerate(late):
        known = standing.setdefault(reading["at"], reading)
        if {**known, "id": ""} != {**reading, "id": ""}:
            contradicting.append(index)
    merged["readings"] = sorted(standing.values(), key=lambda reading: str(reading["at"]))
    place = {reading["at"]: index for index, reading in enumerate(merged["readings"])}
    moves = {index: place[reading["at"]] for index, reading in enumerate(document["readings"])}
    merged["confirmed"] = plausible.moved_paths(merged["confirmed"], "readings", moves)
    return merged, contradicting


def same_facts(one: Any, other: Any) -> bool:
    """Whether two documents say the same; a field that one of them does not know counts as empty there."""
    if isinstance(one, dict) and isinstance(other, dict):
        return all(
            same_facts(one[name], other[name])
            if name in one and name in other
            else _is_empty(one.get(name, other.get(name)))
            for name in {**one, **other}
        )
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(same_facts, one, other))
    return bool(one == other)


def _is_empty(value: Any) -> bool:
    """Whether a field holds what it holds when nobody filled it in; 0 is a number."""
    return value is None or value is False or value in ("", [])


def _created(record: TreatmentRecord, document: Document, by: User, at: datetime) -> bool:
    """Save a new record; False when its id is taken.

    A record that is sent again is looked for first: an INSERT that the database refuses is written whole into its log.
    """
    if _is_there(record):
        return False
    _fill(record, document, by, at)
    try:
        with transaction.atomic():
            record.save(force_insert=True)
    except IntegrityError:  # sent twice at the same moment
        if _is_there(record):
            return False
        raise
    return True


def _is_there(record: TreatmentRecord) -> bool:
    return TreatmentRecord.with_mistaken.filter(pk=record.pk).exists()


def _replace(
    record: TreatmentRecord, document: Document, by: User, at: datetime, clock_offset_s: int | None
) -> Written:
    record.revision += 1
    if clock_offset_s is not None:
        record.clock_offset_s = clock_offset_s
    _fill(record, document, by, at)
    record.save()
    _lay_out(record)
    tie_bloods(record)
    treatment_recorded.send(sender=TreatmentRecord, record=record)
    return Written(record, created=False, changed=True)


def _fill(record: TreatmentRecord, document: Document, by: User, at: datetime) -> None:
    record.document = document
    record.state = document["status"]
    began = datetime.fromisoformat(document["started_at"])
    if began != record.started_at:  # else the night stays the one that it was, wherever the patient lives by now
        record.night = night_of(began, zone_of(record.patient, began))
    record.started_at = began
    record.ended_at = datetime.fromisoformat(document["ended_at"]) if document["ended_at"] else None
    for name in COLUMNS:
        setattr(record, name, document[name])
    record.prescription = Prescription.objects.filter(patient=record.patient).in_force(record.started_at).first()
    record.marks = [asdict(mark) for mark in plausible.unusual(document, usual_of(record))]
    record.recorded_by = by
    record.received_at = at
    if record.state == RecordState.FINISHED and record.finished_at is None:
        record.finished_at = at


def _lay_out(record: TreatmentRecord) -> None:
    """Write the lists of the document as rows, in the place of those of the version before.

    Of a record begun by mistake there are none: checks and needles of it would count for what was never done.
    """
    for name, model in PARTS.items():
        if record.revision > 1:
            model._default_manager.filter(record=record).delete()
        if record.state != RecordState.MISTAKEN:
            rows = record.document[name]
            model._default_manager.bulk_create(model(record=record, **_as_columns(row)) for row in rows)


def _as_columns(row: Document) -> Document:
    columns = {"site_id" if name == "site" else name: value for name, value in row.items() if name != "id"}
    moments = {name: datetime.fromisoformat(columns[name]) for name in ("at", *EVENT_MOMENTS) if columns.get(name)}
    return columns | moments


def versions(record: TreatmentRecord) -> list[Any]:
    """The rows the database's triggers kept of this record, oldest first."""
    events = record.events.select_related("recorded_by").order_by("pgh_id")  # type: ignore[union-attr]
    return list(events)
