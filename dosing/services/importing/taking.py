"""Receive a laboratory's message, show what it would bring, and take it: each step by a named person."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.utils.timezone import localtime
from django.utils.translation import gettext

from dosing.services.importing import csv_table, fhir_bundle, hl7_message
from dosing.services.importing.csv_table import Way
from dosing.services.importing.judging import ASKS, CORRECTS, NEW, REJECTED, as_result, compare, judge
from dosing.services.importing.rows import ResultRow, Unreadable
from homedialysis.accounts.models import Unit, User
from homedialysis.accounts.services.dates import told_day
from sessions.facts.choices import MessageFormat, PostSampleMethod, SampleTiming
from sessions.models import BloodResult, LabLine, LabMessage, Laboratory
from sessions.services.bloods import enter_bloods, standing_for

LEAVE = "leave"
Method = tuple[PostSampleMethod, float | None]
"""How samples after a treatment were drawn, and the minutes after the end of late ones."""


class AlreadyHere(Exception):
    """The same file of the same laboratory came before; `message` is that one."""

    def __init__(self, message: LabMessage) -> None:
        at = told_day(localtime(message.received_at), "j M Y, H:i")
        super().__init__(gettext("This file came before, on %(at)s.") % {"at": at})
        self.message = message


class AlreadyTaken(Exception):
    """Somebody took the results meanwhile."""


class Changed(Exception):
    """Other results came since the preview was made: it was made anew, look again."""


class NotAnswered(Exception):
    """A line that asks has no answer yet; `lines` are their places."""

    def __init__(self, lines: list[str]) -> None:
        super().__init__(gettext("Answer first: %(lines)s.") % {"lines": ", ".join(lines)})
        self.lines = lines


def rows_of(laboratory: Laboratory, form: str, body: bytes, zone: ZoneInfo) -> list[ResultRow]:
    """The lines of a message. Raises Unreadable."""
    if form == MessageFormat.HL7:
        return hl7_message.read(body, zone)
    if form == MessageFormat.FHIR:
        return fhir_bundle.read(body, zone)
    return csv_table.read(body, way_of(laboratory), zone)


def way_of(laboratory: Laboratory) -> Way:
    return Way(
        columns=laboratory.columns,
        decimal_comma=laboratory.decimal_comma,
        date_format=laboratory.date_format,
        time_format=laboratory.time_format,
        own_codes=bool(laboratory.codes),
        encoding=laboratory.encoding,
        thousands=laboratory.thousands,
    )


def unit_zone() -> ZoneInfo:
    unit = Unit.objects.current()
    return ZoneInfo(unit.time_zone if unit else "UTC")


def receive(*, laboratory: Laboratory, form: str, body: bytes, filename: str, by: User, at: datetime) -> LabMessage:
    """Keep a message as it came, with a line for each result in it. Nothing is taken yet.

    Raises Unreadable, and AlreadyHere for the same bytes.
    """
    rows = rows_of(laboratory, form, body, unit_zone())
    digest = hashlib.sha256(body).hexdigest()
    if former := _former(laboratory, digest):
        raise AlreadyHere(former)
    message = LabMessage(
        laboratory=laboratory,
        form=form,
        filename=filename[:120],
        body=body,
        digest=digest,
        received_at=at,
        received_by=by,
    )
    try:
        with transaction.atomic():
            message.save()
            LabLine.objects.bulk_create(judge(message, rows, codes=laboratory.codes, at=at))
    except IntegrityError:  # twice at the same moment
        former = _former(laboratory, digest)
        if former is None:
            raise
        raise AlreadyHere(former) from None
    return message


def _former(laboratory: Laboratory, digest: str) -> LabMessage | None:
    return LabMessage.objects.filter(laboratory=laboratory, digest=digest).first()


@transaction.atomic
def _judged_again(message: LabMessage, at: datetime) -> bool:
    """Whether the lines are still what the preview said; where they are not, the preview is made anew."""
    rows = [ResultRow.from_json(line.row) for line in message.lines.all()]
    before = {line.index: line for line in message.lines.all()}
    now = judge(message, rows, codes=message.laboratory.codes, at=at)
    changed = [line for line in now if _as_told(line) != _as_told(before[line.index])]
    for line in changed:
        line.pk = before[line.index].pk
    fields = ["verdict", "reason", "options", "patient", "analyte", "value", "timing", "result"]
    LabLine.objects.bulk_update(changed, fields)
    return not changed


def _as_told(line: LabLine) -> tuple[Any, ...]:
    """What the preview said of a line."""
    return line.verdict, line.reason, line.patient_id, line.analyte, line.value, line.timing


def take(
    *,
    message: LabMessage,
    answers: Mapping[int, str],
    post_method: str,
    by: User,
    at: datetime,
    post_minutes: float | None = None,
) -> int:
    """Enter the results of a message: the new ones, the corrections, and what was asked about as it was answered.

    answers: {index of a line that asks: key of one of its options}; post_method: how samples after a treatment were
    drawn; post_minutes: how long after the end late ones were, None where the times say it. Returns how many results
    were entered. Raises AlreadyTaken, NotAnswered, Changed.
    """
    with transaction.atomic():
        current = LabMessage.objects.select_for_update(of=("self",)).select_related("laboratory").get(pk=message.pk)
        if current.taken_at:
            raise AlreadyTaken
        still = _judged_again(current, at)
        if still:
            entered = _enter(current, answers, (PostSampleMethod(post_method), post_minutes), by, at)
            current.taken_at, current.taken_by = at, by
            current.save(update_fields=["taken_at", "taken_by"])
    if not still:
        raise Changed
    return entered


def _enter(message: LabMessage, answers: Mapping[int, str], method: Method, by: User, at: datetime) -> int:
    lines = list(message.lines.select_related("patient"))
    open_ones = [line for line in lines if line.verdict == ASKS and not _answer(line, answers)]
    if open_ones:
        raise NotAnswered([str(ResultRow.from_json(line.row).place) for line in open_ones])
    by_patient: defaultdict[Any, list[tuple[LabLine, BloodResult]]] = defaultdict(list)
    for line in lines:
        if result := _to_take(line, answers, method):
            by_patient[line.patient_id].append((line, result))
    for pairs in by_patient.values():
        enter_bloods(results=[result for _, result in pairs], by=by, at=at)
    taken = [pair for pairs in by_patient.values() for pair in pairs]
    for line, result in taken:
        line.result, line.taken = result, True
    LabLine.objects.bulk_update(lines, ["result", "taken", "answer", "value", "timing", "verdict", "reason"])
    return len(taken)


def _answer(line: LabLine, answers: Mapping[int, str]) -> dict[str, Any] | None:
    return next((option for option in line.options if option["key"] == answers.get(line.index)), None)


def _to_take(line: LabLine, answers: Mapping[int, str], method: Method) -> BloodResult | None:
    if line.verdict == ASKS:
        chosen = _answer(line, answers)
        assert chosen is not None
        line.answer = chosen["key"]
        if chosen["key"] == LEAVE:
            return None
        line.value, line.timing = chosen["value"], chosen["timing"]
    elif line.verdict not in (NEW, CORRECTS):
        return None
    row = ResultRow.from_json(line.row)
    result = as_result(line, row)
    if line.timing == SampleTiming.POST:
        result.post_method, minutes = method
        result.post_minutes = minutes if result.post_method == PostSampleMethod.LATE else None
    there = _standing_for(result)
    verdict, reason = compare(result, there, status=row.status)
    if verdict == REJECTED:  # found out only now: the answer made it a sample that stands already
        line.verdict, line.reason = verdict, reason
        return None
    result.pk = there.pk if there else None
    return result


def _standing_for(result: BloodResult) -> BloodResult | None:
    """What stands of the same specimen, else of the same time."""
    mine = BloodResult.with_bounds.filter(patient=result.patient, analyte=result.analyte, timing=result.timing)
    named: BloodResult | None = mine.filter(specimen=result.specimen).first() if result.specimen else None
    return named or standing_for(result)


__all__ = ["AlreadyHere", "AlreadyTaken", "Changed", "NotAnswered", "Unreadable", "receive", "take"]
