"""Our rows as FHIR R4 resources (dictionaries ready for JSON).

Codes: LOINC of what is noted as `sessions.facts.fields` declares it, of bloods as listed in `dosing.science.bloods`
with how far each was seen; SNOMED CT 302497006, haemodialysis
(from memory). Circuit pressures, flows and fluid have no LOINC that was verified: they go under codes of our own.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from dosing.science.bloods import ANALYTES
from dosing.science.reasons import Reason
from dosing.services.fhir.parts import (
    ABSENT,
    INTERPRETATION,
    LOINC,
    SNOMED,
    Json,
    category,
    coded,
    moment,
    own,
    quantity,
    reference,
    without_empty,
)
from dosing.services.night.treatments import ComputedNight
from dosing.services.numbers.blood_units import KEPT_ANALYTES
from dosing.services.numbers.kept import KeptNumber
from dosing.services.numbers.reasons import NOT_COMPUTED
from sessions.facts.fields import (
    AFTER,
    BEFORE,
    BLOOD_PRESSURE_LOINC,
    EVENT,
    EVENT_MOMENTS,
    FLUID,
    READING,
    Column,
    Field,
    columns,
)
from sessions.models import (
    BloodResult,
    Event,
    Machine,
    Patient,
    Reading,
    RecordSource,
    RecordState,
    SampleTiming,
    TreatmentRecord,
)
from sessions.texts.ready import words_of

NAME_IN_SCIENCE = {analyte.value: name for name, analyte in KEPT_ANALYTES.items()}
FLAGS = frozenset({"L", "H", "LL", "HH", "N", "A", "AA"})
NOTHING_DRAWN = frozenset({"no_urea_pair", "no_collection"})
"""Reasons that say that nobody measured."""
TIMES = {
    SampleTiming.PRE: "before a treatment",
    SampleTiming.POST: "after a treatment",
    SampleTiming.APART: "apart from treatments",
}
"""When a sample was drawn. LOINC's code of a substance does not tell it, so a code of our own stands beside it."""
BODY_WEIGHT, SYSTOLIC, DIASTOLIC = "29463-7", "8480-6", "8462-4"
WIDER = {
    **dict.fromkeys(("8347-7", "8344-4"), BODY_WEIGHT),
    **dict.fromkeys(("8459-0", "8460-8"), SYSTOLIC),
    **dict.fromkeys(("8453-3", "8454-1"), DIASTOLIC),
}
"""The code that the profiles of vital signs ask for (R4, observation-vitalsigns), beside the one that says more: a
weight before or after a treatment, a pressure taken sitting or standing."""


def patient(person: Patient) -> Json:
    """A Patient."""
    telecom = [{"system": "phone", "value": person.phone}] if person.phone else []
    return without_empty(
        {
            "resourceType": "Patient",
            "id": str(person.pk),
            "identifier": [{"system": own("hospital-number"), "value": person.hospital_number}],
            "active": person.left_on is None,
            "name": [{"text": person.name}],
            "telecom": telecom,
            "gender": person.sex,
            "birthDate": person.birth_date.isoformat(),
        }
    )


def device(machine: Machine) -> Json:
    """A Device: the machine at home."""
    return without_empty(
        {
            "resourceType": "Device",
            "id": str(machine.pk),
            "status": "active" if machine.until is None else "inactive",
            "serialNumber": machine.serial,
            "deviceName": [{"name": machine.name, "type": "model-name"}],
            "type": coded(own("machine-kind"), machine.kind, machine.get_kind_display()),
            "patient": reference("Patient", machine.patient_id),
        }
    )


PROCEDURE_STATUS = {
    RecordState.OPEN: "in-progress",
    RecordState.FINISHED: "completed",
    RecordState.MISTAKEN: "entered-in-error",
}
"""FHIR R4, EventStatus."""


def procedure(record: TreatmentRecord) -> Json:
    """A Procedure: one treatment."""
    return without_empty(
        {
            "resourceType": "Procedure",
            "id": str(record.pk),
            "meta": {"versionId": str(record.revision), "lastUpdated": moment(record.received_at)},
            "status": PROCEDURE_STATUS[RecordState(record.state)],
            "code": coded(SNOMED, "302497006", "Haemodialysis at home"),
            "subject": reference("Patient", record.patient_id),
            "performedPeriod": without_empty({"start": moment(record.started_at), "end": moment(record.ended_at)}),
            "note": [{"text": "Entered from paper."}] if record.source == RecordSource.PAPER else [],
        }
    )


def blood(result: BloodResult) -> Json:
    """An Observation: one blood result in its canonical unit."""
    unit = next(iter(ANALYTES[NAME_IN_SCIENCE[result.analyte]].units.values()))
    flag = [{"coding": [{"system": INTERPRETATION, "code": result.flag}]}] if result.flag in FLAGS else []
    return _observation(
        {
            "id": f"blood-{result.pk}",
            "meta": {"lastUpdated": moment(result.entered_at)},
            "category": category("laboratory"),
            "code": _code_of_blood(result),
            "subject": reference("Patient", result.patient_id),
            "effectiveDateTime": moment(result.drawn_at),
            "issued": moment(result.entered_at),
            "valueQuantity": without_empty({"comparator": result.bound}) | quantity(result.value, unit.ucum, unit.ucum),
            "interpretation": flag,
            "method": _way_drawn(result),
            # The range is the laboratory's, in its own unit, which may not be that of the value.
            "referenceRange": [{"text": f"{result.reference} {result.unit_sent}".strip()}] if result.reference else [],
            "partOf": [reference("Procedure", result.treatment_id)] if result.treatment_id else [],
            "note": [{"text": result.comment}] if result.comment else [],
        }
    )


def _code_of_blood(result: BloodResult) -> Json:
    """What was measured by LOINC, and when it was drawn by a code of our own, such as urea.post."""
    name, timing = NAME_IN_SCIENCE[result.analyte], SampleTiming(result.timing)
    words = f"{result.get_analyte_display()}, {TIMES[timing]}"
    timed = {"system": own("blood"), "code": f"{name}.{timing.value}".replace("_", "-"), "display": words}
    return coded(LOINC, result.analyte, words, timed)


def _way_drawn(result: BloodResult) -> Json | None:
    """How a sample after a treatment was drawn, where it is known."""
    if not result.post_method:
        return None
    return coded(own("sample-method"), result.post_method.replace("_", "-"), result.get_post_method_display())


def observations(night: ComputedNight) -> Iterator[Json]:
    """The Observations of one treatment: what was measured before, after and meanwhile, and what was computed."""
    record = night.record
    yield from _measured(record, BEFORE, record.started_at, "vital-signs")
    yield from _measured(record, AFTER, record.ended_at or record.started_at, "vital-signs")
    yield from _measured(record, FLUID, record.ended_at or record.started_at, "procedure")
    for reading in record.reading_set.all():
        yield from _of_reading(record, reading)
    for event in record.event_set.all():
        yield from _of_event(record, event)
    # What an older science did not compute is neither known nor unknown: it comes with the numbers of the present one.
    yield from (_computed(record, figure) for figure in night.figures if figure.kept)


def _measured(record: TreatmentRecord, fields: Mapping[str, Field], at: datetime, kind: str) -> Iterator[Json]:
    """One Observation for each number that was noted; the two of a blood pressure go together, as FHIR has it."""
    for column in columns(fields):
        if column.below:
            found = _pressure(record, record, fields, column, at, column.key)
            yield from [found] if found else []
        elif (value := getattr(record, column.key)) is not None:
            made = _of_treatment(record, column.key, _code_of(column.key, column.field), at, kind)
            yield made | {"valueQuantity": _quantity_of(column.field, value)}


def _of_reading(record: TreatmentRecord, reading: Reading) -> Iterator[Json]:
    """A reading: its blood pressure by itself, everything else as the parts of one Observation of that moment."""
    place = f"reading-{int(reading.at.timestamp())}"
    shown = columns(READING)
    for column in shown:
        found = _pressure(record, reading, READING, column, reading.at, f"{place}-{column.key}")
        yield from [found] if found else []
    parts = [part for column in shown if not column.below for part in _part(reading, READING, column.key)]
    if parts:
        code = coded(own("reading"), "reading", "Reading during the treatment")
        yield _of_treatment(record, place, code, reading.at, "procedure") | {"component": parts}


def _of_event(record: TreatmentRecord, event: Event) -> Iterator[Json]:
    """What happened: its blood pressure by itself; how it went, with its times, as one Observation under our codes."""
    place = f"event-{int(event.at.timestamp())}-{event.kind[:8]}"
    shown = columns(EVENT)
    for column in shown:
        found = _pressure(record, event, EVENT, column, event.at, f"{place}-{column.key[:1]}")
        yield from [found] if found else []
    parts = [part for column in shown if not column.below for part in _part(event, EVENT, column.key)]
    code = coded(own("event"), event.kind.replace("_", "-"), event.get_kind_display())
    made = _of_treatment(record, place, code, event.at, "procedure")
    if event.ended_at:
        del made["effectiveDateTime"]
        made["effectivePeriod"] = {"start": moment(event.at), "end": moment(max(event.at, event.ended_at))}
    note = words_of(event.note)
    yield without_empty(made | {"component": parts + _course(event), "note": [{"text": note}] if note else []})


def _course(event: Event) -> list[Json]:
    """The times of its course, and how it ended, as parts of an Observation."""
    codes = {
        "outcome": event.get_outcome_display(),
        "called": event.get_called_display(),
        "use": event.get_use_display(),
    }
    moments = [
        {
            "code": coded(own("part-of-event"), name.replace("_", "-"), name.replace("_", " ")),
            "valueDateTime": moment(at),
        }
        for name in EVENT_MOMENTS
        if (at := getattr(event, name))
    ]
    return moments + [
        {
            "code": coded(own("part-of-event"), name, name),
            "valueCodeableConcept": coded(own(f"event-{name}"), getattr(event, name).replace("_", "-"), words),
        }
        for name, words in codes.items()
        if words
    ]


def _pressure(
    record: TreatmentRecord,
    holder: TreatmentRecord | Reading | Event,
    fields: Mapping[str, Field],
    column: Column,
    at: datetime,
    name: str,
) -> Json | None:
    """The panel of a blood pressure, None where the column is none or nothing was noted."""
    keys = (column.key, column.below) if column.below else ()
    parts = [part for key in keys for part in _part(holder, fields, key)]
    if not parts:
        return None
    words = ", ".join(["Blood pressure", *column.key.split("_")[:-1]])
    panel = coded(LOINC, BLOOD_PRESSURE_LOINC, words)
    return _of_treatment(record, name, panel, at, "vital-signs") | {"component": parts}


def _part(holder: TreatmentRecord | Reading | Event, fields: Mapping[str, Field], key: str) -> list[Json]:
    value, field = getattr(holder, key), fields[key]
    return [] if value is None else [{"code": _code_of(key, field), "valueQuantity": _quantity_of(field, value)}]


def _code_of(key: str, field: Field) -> Json:
    if not field.loinc:
        return coded(own("field"), key, field.label)
    wider = [{"system": LOINC, "code": WIDER[field.loinc]}] if field.loinc in WIDER else []
    return coded(LOINC, field.loinc, field.label, *wider)


def _quantity_of(field: Field, value: float) -> Json:
    return quantity(value, field.unit, field.ucum_code)


def _of_treatment(record: TreatmentRecord, name: str, code: Json, at: datetime, kind: str) -> Json:
    return _observation(
        {
            "id": f"{record.pk}-{name}".replace("_", "-")[:64],
            "meta": {"lastUpdated": moment(record.received_at)},
            "category": category(kind),
            "code": code,
            "subject": reference("Patient", record.patient_id),
            "partOf": [reference("Procedure", record.pk)],
            "effectiveDateTime": moment(at),
        }
    )


def _computed(record: TreatmentRecord, figure: KeptNumber) -> Json:
    """A computed number under its LOINC code where it has one, else under a code of our own; a note says its doubts.

    One that is not known says why instead. "computed" tells it from what was noted under the same name.
    """
    number = figure.number
    system, key = (LOINC, number.loinc) if number.loinc else (own("number"), number.key)
    at = record.ended_at or record.started_at
    made = _of_treatment(record, number.key, coded(system, key, f"{number.name}, computed"), at, "procedure")
    made |= {"meta": {"lastUpdated": moment(record.computed.computed_at)}}
    if figure.value is None:
        return made | {"dataAbsentReason": _absent(figure.reason), "component": [_standing(figure)]}
    shown = quantity(number.as_read(figure.value), "%" if number.percent else number.unit, number.ucum)
    doubts = "; ".join(str(reason) for reason in figure.doubts)
    note = {"note": [{"text": f"Doubtful: {doubts}."}]} if doubts else {}
    return made | note | {"valueQuantity": shown, "component": [_standing(figure), *_interval(figure, shown)]}


def _absent(reason: Reason | None) -> Json:
    """Why there is no value: by FHIR's own list of reasons, and by ours, which says it exactly."""
    why = reason or NOT_COMPUTED
    code = "not-performed" if why.code in NOTHING_DRAWN else "unknown"
    exact = {"system": own("reason"), "code": why.code.replace("_", "-"), "display": str(why)}
    return {"coding": [{"system": ABSENT, "code": code}, exact], "text": str(why)}


def _standing(figure: KeptNumber) -> Json:
    """How far the number can be relied on, and the codes of what speaks against it."""
    doubts = [
        {"system": own("reason"), "code": each.code.replace("_", "-"), "display": str(each)} for each in figure.doubts
    ]
    said = {"system": own("standing"), "code": figure.standing.value}
    code = coded(own("part-of-number"), "standing", "How far it can be relied on")
    return {"code": code, "valueCodeableConcept": {"coding": [said, *doubts]}}


def _interval(figure: KeptNumber, shown: Json) -> list[Json]:
    """Where the true value lies, in the unit of the number."""
    found, number = figure.interval, figure.number
    if found is None:
        return []
    words = f"Where it lies with a probability of {100 * found.level:.0f} %"
    low, high = (shown | {"value": number.as_read(end)} for end in (found.low, found.high))
    code = coded(own("part-of-number"), f"interval-{100 * found.level:.0f}", words)
    return [{"code": code, "valueRange": {"low": low, "high": high}}]


def _observation(fields: dict[str, Any]) -> Json:
    return without_empty({"resourceType": "Observation", "status": "final"} | fields)
