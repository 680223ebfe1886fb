"""What each line of a message is: new, there already, a correction, something to ask about, or not to be taken.

Patients are found by number and date of birth, both; nothing is guessed. The queries do not grow with the message.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from dosing.science.bloods import loinc_is_well_formed
from dosing.services.importing.line_words import Said, said
from dosing.services.importing.rows import CONFIRMED, CORRECTED, ResultRow
from dosing.services.importing.units import Meant, NotMeant, meant, other_units
from dosing.services.numbers.blood_units import three_figures
from sessions.facts import plausible
from sessions.facts.choices import Analyte, SampleTiming
from sessions.models import BloodResult, LabLine, LabMessage, Patient

NEW, THERE, CORRECTS, ASKS, REJECTED = "new", "there", "corrects", "asks", "rejected"
WORDS = {
    NEW: _("new"),
    THERE: _("there already"),
    CORRECTS: _("corrects"),
    ASKS: _("asks you"),
    REJECTED: _("cannot be taken"),
}
SAME = 1e-6
"""Relative difference below which two values are the same value, written in different units."""
Key = tuple[Any, ...]


class NotTaken(Exception):
    """The line cannot be taken; `said` says why."""

    def __init__(self, *said: Said) -> None:
        super().__init__(*said)
        self.said = said


@dataclass(slots=True)
class KnownResults:
    """The results that stand, and those that came earlier in the same message, by what can name them."""

    by_time: dict[Key, BloodResult] = field(default_factory=dict)
    by_specimen: dict[Key, BloodResult] = field(default_factory=dict)

    def add(self, result: BloodResult) -> None:
        self.by_time[(result.patient_id, result.analyte, result.drawn_at, result.timing)] = result
        if result.specimen:
            self.by_specimen[(result.patient_id, result.analyte, result.specimen, result.timing)] = result

    def timing_of(self, patient: Patient, analyte: str, row: ResultRow) -> str:
        """Where a line does not say it: before or after, as the result of the same sample that stands; else ""."""
        for timing in SampleTiming.values:
            there = self.by_specimen.get((patient.pk, analyte, row.specimen, timing)) if row.specimen else None
            if there or (patient.pk, analyte, row.drawn_at, timing) in self.by_time:
                return str(timing)
        return ""

    def like(self, result: BloodResult) -> BloodResult | None:
        """The result that is of the same sample: by its specimen, else by its time."""
        specimen = (result.patient_id, result.analyte, result.specimen, result.timing)
        at = (result.patient_id, result.analyte, result.drawn_at, result.timing)
        return (self.by_specimen.get(specimen) if result.specimen else None) or self.by_time.get(at)


def judge(message: LabMessage, rows: Sequence[ResultRow], *, codes: dict[str, str], at: datetime) -> list[LabLine]:
    """A line for each row, not saved. codes: the laboratory's own codes → LOINC."""
    people = _people(rows)
    standing = _standing(people.values(), rows)
    return [_line(message, index, row, people, standing, codes, at) for index, row in enumerate(rows)]


def _people(rows: Iterable[ResultRow]) -> dict[str, Patient]:
    wanted = {number for row in rows for number in row.numbers}
    return {each.hospital_number: each for each in Patient.objects.filter(hospital_number__in=wanted)}


def _standing(people: Iterable[Patient], rows: Iterable[ResultRow]) -> KnownResults:
    """Results of these patients around the times, or of the specimens, that the message names."""
    times = [row.drawn_at for row in rows if row.drawn_at]
    specimens = {row.specimen for row in rows if row.specimen}
    mine = BloodResult.with_bounds.filter(patient__in=list(people))
    standing = KnownResults()
    if times:
        for result in mine.filter(drawn_at__range=(min(times), max(times))):
            standing.add(result)
    for result in mine.filter(specimen__in=specimens):
        standing.add(result)
    return standing


def _line(
    message: LabMessage,
    index: int,
    row: ResultRow,
    people: dict[str, Patient],
    standing: KnownResults,
    codes: dict[str, str],
    at: datetime,
) -> LabLine:
    line = LabLine(message=message, index=index, row=row.as_json())
    try:
        patient = _patient(row, people)
        line.patient = patient
        unit = _meaning(row, codes, at)
    except NotTaken as problem:
        line.verdict, line.reason = REJECTED, kept(*problem.said)
        return line
    line.analyte = unit.analyte
    line.timing = row.timing or unit.timing or standing.timing_of(patient, unit.analyte, row)
    assert row.number is not None
    line.value = unit.canonical(row.number)
    line.options = _options(unit, row.number, line.timing, bound=row.bound)
    if not line.options:
        line.timing = line.timing or SampleTiming.APART
        _against_standing(line, row, standing)
    elif len(line.options) == 1:
        line.verdict, line.options = REJECTED, []
        line.reason = kept(said("refused", analyte=unit.analyte, value=line.value))
    else:
        line.verdict, line.reason = ASKS, kept(*_question(unit, row.number, line.timing))
    return line


def kept(*sentences: Said) -> list[dict[str, Any]]:
    """Sentences as they are stored with a line."""
    return [each.as_json() for each in sentences]


def _patient(row: ResultRow, people: dict[str, Patient]) -> Patient:
    found = [people[number] for number in row.numbers if number in people]
    if row.fault:
        raise NotTaken(row.fault)
    if not row.numbers:
        raise NotTaken(said("number_missing"))
    if not found:
        raise NotTaken(said("number_unknown", numbers=" / ".join(row.numbers)[:80]))
    if row.birth_date is None:
        raise NotTaken(said("birth_missing"))
    patient = found[0]
    if any(other.pk != patient.pk for other in found) or patient.birth_date != row.birth_date:
        raise NotTaken(said("birth_other", number=patient.hospital_number, day=row.birth_date.isoformat()))
    return patient


def _meaning(row: ResultRow, codes: dict[str, str], at: datetime) -> Meant:
    if row.status not in (CONFIRMED, CORRECTED):
        raise NotTaken(said("status", status=row.status))
    if row.drawn_at is None:
        raise NotTaken(said("no_time"))
    if not plausible.EARLIEST <= row.drawn_at <= at:
        raise NotTaken(said("time", at=row.drawn_at.isoformat()))
    if row.own_code and row.code not in codes and not loinc_is_well_formed(row.code):
        raise NotTaken(said("own_code", code=row.code[:40]))
    try:
        return meant(codes.get(row.code, row.code), row.unit)
    except NotMeant as problem:
        raise NotTaken(*problem.said) from problem


def _options(unit: Meant, number: float, timing: str, *, bound: str = "") -> list[dict[str, Any]]:
    """What a person can answer, "leave" last; nothing where there is nothing to ask; "leave" alone where no answer
    makes sense of it. A bound is a figure of the method, so that it is never unusual."""
    value = unit.canonical(number)
    possible = not unit.limits.refusal(value)
    usual = possible and (bool(bound) or not unit.limits.oddity(value))
    timings = [timing] if timing or unit.analyte != Analyte.UREA else list(SampleTiming.values)
    if usual and len(timings) == 1:
        return []
    units = ([unit] if possible else []) + ([] if usual else other_units(unit, number))
    choices = [_option(each, number, when) for each in units for when in timings]
    return [*choices, {"key": "leave", "given": "", "value": None, "timing": ""}]


def _option(unit: Meant, number: float, timing: str) -> dict[str, Any]:
    timing = timing or SampleTiming.APART
    given = f"{number:g} {unit.unit}"
    return {"key": f"{unit.unit}|{timing}"[:20], "given": given, "value": unit.canonical(number), "timing": timing}


def _question(unit: Meant, number: float, timing: str) -> list[Said]:
    value = unit.canonical(number)
    parts = []
    about = {"analyte": unit.analyte, "value": value, "given": number, "unit": unit.unit}
    if unit.limits.refusal(value):
        parts.append(Said("impossible", about))
    elif unit.limits.oddity(value):
        parts.append(Said("unusual", about))
    for other in other_units(unit, number) if parts else []:
        told = f"{three_figures(other.canonical(number))} {unit.limits.unit}"
        parts.append(said("as_other", unit=other.unit, value=told))
    if not timing and unit.analyte == Analyte.UREA:
        parts.append(said("which_timing"))
    return parts


def as_result(line: LabLine, row: ResultRow) -> BloodResult:
    """The result that a line would be, not saved."""
    assert row.drawn_at is not None
    assert line.value is not None
    return BloodResult(
        patient=line.patient,
        analyte=line.analyte,
        value=line.value,
        drawn_at=row.drawn_at,
        timing=line.timing,
        message=line.message,
        specimen=row.specimen[:60],
        version=row.version,
        code=row.code[:40],
        value_sent=row.value[:40],
        unit_sent=row.unit[:40],
        reference=row.reference[:60],
        flag=row.flag[:10],
        bound=row.bound,
        comment=row.comment[:500],
    )


def _against_standing(line: LabLine, row: ResultRow, standing: KnownResults) -> None:
    """Compare with what stands; a line that is to be taken stands for the lines after it."""
    result = as_result(line, row)
    there = standing.like(result)
    line.verdict, line.reason = compare(result, there, status=row.status)
    if line.verdict in (NEW, CORRECTS):
        result.pk = there.pk if there else None
        standing.add(result)
    if there and there.pk:
        line.result = there


def compare(result: BloodResult, there: BloodResult | None, *, status: str) -> tuple[str, list[dict[str, Any]]]:
    """The verdict on a result beside the one of the same sample that stands, and why."""
    if there is None:
        return NEW, []
    shown = f"{there.bound}{three_figures(there.value)} {plausible.BLOOD[there.analyte].unit}"
    if _alike(result, there):
        return THERE, []
    typed = not there.specimen and not there.version and there.message_id is None
    if there.pk and (typed or there.corrected_because):
        return REJECTED, kept(said("by_hand", value=shown))
    if result.version > there.version or (status == CORRECTED and result.version >= there.version):
        return CORRECTS, kept(said("corrects", value=shown))
    return REJECTED, kept(said("stands", value=shown))


def _alike(result: BloodResult, there: BloodResult) -> bool:
    """Whether they say the same of the same moment, also where the laboratory has a comment only now."""
    near = abs(there.value - result.value) <= SAME * abs(there.value) and there.bound == result.bound
    return near and there.drawn_at == result.drawn_at and result.comment in ("", there.comment)


def counts(lines: Iterable[LabLine]) -> dict[str, int]:
    """How many lines have each verdict."""
    found: defaultdict[str, int] = defaultdict(int)
    for line in lines:
        found[line.verdict] += 1
    return {verdict: found[verdict] for verdict in WORDS}
