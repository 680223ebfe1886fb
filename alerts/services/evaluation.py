"""Evaluate what is new: compute the numbers of records and run the rules over their patient.

News is a row of PendingEvaluation. A worker claims it for a while, and it goes in the transaction that evaluates it:
a worker that dies leaves the row, and another does it again soon. Doing it twice changes nothing.
"""

from __future__ import annotations

import logging
import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import datetime, timedelta
from typing import Any

from django.db import InterfaceError, OperationalError, connection, transaction
from django.utils.translation import gettext_noop

from alerts.models import PendingEvaluation, RecordJudgement
from alerts.rules import BY_TIME, RULES, RULES_VERSION
from alerts.rules.base import History, Rule, Seen
from alerts.services import outbox
from alerts.services.history import SURROUNDINGS, history_of
from alerts.services.reconciling import reconcile
from dosing.services.course.reading import PatientCourses
from dosing.services.night.computing import compute
from dosing.services.night.inputs import courses_for, records_after
from sessions.models import Patient, TreatmentRecord

PATTERN = timedelta(days=21)
"""No pattern of nights spreads further, but for trends, which are not kept by night."""

NOBODYS_FAULT = (OperationalError, InterfaceError)
"""What the database says when it goes away, is asked to stop, or has let somebody else go first."""

logger = logging.getLogger(__name__)


def evaluate_pending(*, at: datetime, limit: int = 200) -> int:
    """Evaluate what is due, patient by patient, until nothing is left or `limit` patients were done.

    Safe beside other workers: a row is claimed by one of them, and a patient is evaluated by one at a time.
    Returns how many rows were done. A row that fails is tried again later, and put aside in the end.
    """
    done = 0
    for _ in range(limit):
        rows = outbox.claim(at=at)
        if rows is None:
            break
        done += _evaluate_or_split(rows, at=at)
    return done


def look_for_missing(*, at: datetime) -> None:
    """Ask of every patient in the programme what only time brings about: a record missing, a test overdue."""
    for patient in Patient.objects.in_programme():
        try:
            _evaluate_missing(patient.pk, at=at)
        except Exception as problem:
            logger.error("Looking for missing records failed: %s", outbox.words_of(problem))
            _drop_dead_connection()
            outbox.add_again(patient_id=patient.pk, why=gettext_noop("look for missing records"), at=at)


@transaction.atomic
def evaluate_record(record: TreatmentRecord, *, at: datetime) -> None:
    """Compute a record and what hangs on it, and bring its patient's alerts up to date."""
    _evaluate(_lock(record.patient_id), {record.pk}, at=at)


def _evaluate_or_split(rows: Collection[PendingEvaluation], *, at: datetime) -> int:
    """All news of one patient at once; when that fails, one by one, so that only the culprit waits.

    A database that goes away or is busy is no fault of the rows: they are due again when their loan ends.
    """
    try:
        return _evaluate_rows(rows, at=at)
    except NOBODYS_FAULT as problem:
        logger.warning("Evaluating was broken off: %s", outbox.words_of(problem))
        _drop_dead_connection()
        return 0
    except Exception as problem:
        if len(rows) > 1:
            return sum(_evaluate_or_split([row], at=at) for row in rows)
        (row,) = rows
        outbox.note_failure(row, problem, at=at)
        return 0


def _drop_dead_connection() -> None:
    """So that the next row finds a new one. Within somebody's transaction it is for them to do."""
    if not connection.in_atomic_block:
        connection.close_if_unusable_or_obsolete()


@transaction.atomic
def _evaluate_rows(rows: Collection[PendingEvaluation], *, at: datetime) -> int:
    patient = _lock(next(iter(rows)).patient_id)
    still = PendingEvaluation.objects.filter(pk__in=[row.pk for row in rows]).select_for_update(no_key=True)
    there = list(still)
    if there:
        record_ids = {row.record_id for row in there if row.record_id}
        _evaluate(patient, record_ids, at=at)
        outbox.done(still, patient=patient, record_ids=record_ids)
    return len(there)


@transaction.atomic
def _evaluate_missing(patient_id: uuid.UUID, *, at: datetime) -> None:
    patient = _lock(patient_id)
    reconcile(history_of(patient, at=at, parts=frozenset({SURROUNDINGS})), BY_TIME, at=at)


def _lock(patient_id: uuid.UUID) -> Patient:
    """One worker at a time for one patient; whoever only points at the patient is not held up."""
    locked: Patient = Patient.objects.select_for_update(no_key=True).get(pk=patient_id)
    return locked


def _evaluate(patient: Patient, record_ids: Collection[uuid.UUID], *, at: datetime) -> None:
    records = list(TreatmentRecord.objects.filter(pk__in=record_ids).select_related("patient", "prescription"))
    followers = {later.pk: later for record in records for later in _followers(record)}
    others = [followers[pk] for pk in followers.keys() - set(record_ids)]
    courses = courses_for([*records, *others]) if records else None
    for record in records:
        compute(record, at=at, courses=courses)
    for record in others:
        _compute_follower(record, courses, at=at)
    history = history_of(patient, at=at)
    seen = reconcile(history, RULES, at=at)
    note_judgements(history, seen, _neighbours(history, set(record_ids) | followers.keys()), at=at)


def _compute_follower(record: TreatmentRecord, courses: PatientCourses | None, *, at: datetime) -> None:
    """Where that fails it is no fault of the record that is news: the follower waits by itself."""
    try:
        with transaction.atomic():
            compute(record, at=at, courses=courses)
    except NOBODYS_FAULT:
        raise
    except Exception as problem:
        logger.error("Computing the next treatment failed: %s", outbox.words_of(problem))
        outbox.add_again(
            patient_id=record.patient_id, record_id=record.pk, why=gettext_noop("treatment before it changed"), at=at
        )


def _followers(record: TreatmentRecord) -> Iterable[TreatmentRecord]:
    """Records whose numbers hang on this one, also as it was before a correction: the next, by gain and interval, and
    those with bloods in the four weeks after it, by the treatments a week.
    """
    starts = {record.started_at}
    if record.revision > 1:
        versions: Any = record.events  # type: ignore[attr-defined]  # made by pghistory
        starts |= set(versions.values_list("started_at", flat=True))
    for start in starts:
        yield from records_after(TreatmentRecord(patient_id=record.patient_id, started_at=start))


def _neighbours(history: History, touched: Collection[uuid.UUID]) -> set[uuid.UUID]:
    """These records and the nights around them: a pattern over some nights changes what is said of each."""
    starts = [night.record.started_at for night in history.nights if night.record.pk in touched]
    return {
        night.record.pk
        for night in history.nights
        if any(abs(night.record.started_at - start) <= PATTERN for start in starts)
    }


def judge_again(patient: Patient, *, at: datetime) -> None:
    """Bring a patient's alerts up to date without any news. The patient is locked."""
    reconcile(history_of(patient, at=at), RULES, at=at)


def note_judgements(
    history: History, seen: Iterable[tuple[Rule, Seen]], touched: Collection[uuid.UUID], *, at: datetime
) -> None:
    """Keep beside each record what the rules saw in it, and what none could say: silence is no good night."""
    why: defaultdict[str, list[dict[str, Any]]] = defaultdict(list)
    for rule in RULES:
        for missed in rule.not_judged(history):
            if missed.night is not None:
                why[str(missed.night.record.pk)].append({"rule": rule.key} | missed.why.as_json())
    found = _found(seen)
    RecordJudgement.objects.bulk_create(
        (
            RecordJudgement(
                record_id=night.record.pk,
                revision=night.record.revision,
                judged_at=at,
                not_judged=why[str(night.record.pk)],
                found=found[str(night.record.pk)],
                rules=RULES_VERSION,
            )
            for night in history.nights
            if night.record.pk in touched
        ),
        update_conflicts=True,
        unique_fields=["record"],
        update_fields=["revision", "judged_at", "not_judged", "found", "rules"],
    )


def _found(seen: Iterable[tuple[Rule, Seen]]) -> defaultdict[str, list[dict[str, Any]]]:
    """By record: each thing that a rule saw in it, with the limit of that night. Trends are about weeks, not nights."""
    found: defaultdict[str, list[dict[str, Any]]] = defaultdict(list)
    for rule, one in seen:
        for item in one.evidence:
            if item.record and not rule.replaces:
                found[item.record].append({"rule": rule.key} | item.as_json())
    return found
