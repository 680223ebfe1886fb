"""The record that a made-up patient hands over: what was true, as somebody tired writes it down."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from numpy.random import Generator

from homedialysis.demo.body import RINSE_BACK_L, TrueTreatment, pressure
from homedialysis.demo.cast import Member
from homedialysis.demo.circuit import Circuit, connect, membrane_pressure, outflow_rise, pressures
from sessions.facts import plausible
from sessions.facts.choices import (
    BloodReturn,
    CheckPart,
    DialyserLook,
    EventKind,
    NeedleKind,
    PlanChoice,
    RecordState,
    SiteUse,
    Technique,
)
from sessions.facts.fields import READING
from sessions.texts.ready import coded

Document = dict[str, Any]
FORGOTTEN = 0.015
"""Share of numbers that are not written down."""
CONFIRMED = 0.85
"""Share of unusual numbers that the patient confirms when asked once more."""
NOTES = (
    "Slept well.",
    "Bit restless, legs.",
    "Machine beeped once, line was kinked under my elbow.",
    "Drank more than I meant to at the weekend, birthday.",
    "All fine.",
    "Cold feet, turned the dialysate up a notch and down again.",
    "Felt washed out this morning.",
    "Neighbour's dog kept me up, machine was fine.",
)


@dataclass(frozen=True, slots=True)
class Sites:
    """Ids of the patient's access sites by use."""

    arterial: list[int]
    venous: list[int]


def write_down(
    member: Member, night: TrueTreatment, *, ago: float, sites: Sites, turn: int, rng: Generator
) -> Document:
    """The finished document of one treatment, not judged yet. turn: how many treatments came before."""
    circuit = connect(member, ago, rng)
    document = {
        "status": RecordState.FINISHED,
        "started_at": night.start.isoformat(),
        "ended_at": night.end.isoformat(),
        **_before(member, night, rng),
        **_after(member, night, rng),
        "checks": _checks(rng),
        "readings": _readings(member, night, circuit, rng),
        "events": _events(night, rng),
        "medicines": _medicines(member, night),
        "sites": _sites(member, night, sites, turn=turn, ago=ago, rng=rng),
        "notes": str(rng.choice(NOTES)) if rng.random() < 0.12 else "",
    }
    return _confirm(_forget(document, rng) | _evening(member, night), rng)


def as_left_open(document: Document, until: datetime) -> Document:
    """The document as it stands while the treatment runs: what lies before `until`, nothing of its end."""
    after = (
        "post_", "uf_removed", "blood_processed", "rinse_back", "intake", "dialyser_look", "blood_", "disinfected",
    )  # fmt: skip
    begun = {name: value for name, value in document.items() if not name.startswith(after)}
    begun |= {
        name: [row for row in document[name] if datetime.fromisoformat(row["at"]) <= until]
        for name in ("readings", "events", "medicines")
    }
    bled = [row | {"bleeding_minutes": None} for row in document["sites"]]
    return begun | {"status": RecordState.OPEN, "ended_at": None, "sites": bled, "notes": "", "confirmed": []}


def _before(member: Member, night: TrueTreatment, rng: Generator) -> Document:
    systolic, diastolic = pressure(member, night, 0, rng)
    fever = night.mishap is not None and night.mishap.kind == EventKind.FEVER_CHILLS
    return {
        "pre_weight_kg": night.scale_before,
        "pre_systolic": systolic,
        "pre_diastolic": diastolic,
        "pre_pulse": round(float(rng.normal(74, 6))),
        "pre_temperature_c": round(float(rng.normal(37.4 if fever else 36.4, 0.2)), 1),
    }


def _after(member: Member, night: TrueTreatment, rng: Generator) -> Document:
    systolic, diastolic = pressure(member, night, 1, rng)
    standing = {}
    if member.age >= 50:  # younger ones are not asked to
        drop = round(float(rng.normal(7, 5)))
        standing = {"post_standing_systolic": max(60, systolic - drop), "post_standing_diastolic": diastolic}
        standing["post_standing_diastolic"] = min(diastolic, standing["post_standing_systolic"] - 12)
    return {
        "post_weight_kg": night.scale_after,
        "post_systolic": systolic,
        "post_diastolic": diastolic,
        **standing,
        "post_pulse": round(float(rng.normal(78, 7))),
        "post_temperature_c": round(float(rng.normal(36.4, 0.2)), 1),
        "rinse_back_l": RINSE_BACK_L,
        "intake_l": night.intake_l,
        "uf_removed_l": night.uf_l,
        "blood_processed_l": round(night.qb * night.minutes / 1000 * float(rng.uniform(0.965, 0.995)), 1),
    }


def _checks(rng: Generator) -> list[Document]:
    chlorine = {"name": "Total chlorine", "key": "chlorine", "part": CheckPart.SETUP, "unit": "mg/L"}
    done = []
    if rng.random() < 0.001:
        done.append(chlorine | {"passed": False, "value": 0.12, "note": "Did not connect. Rang the unit."})
        done.append(chlorine | {"passed": True, "value": 0.03, "note": "After 20 minutes' flow, as the unit said."})
    else:
        done.append(chlorine | {"passed": True, "value": float(rng.choice([0, 0, 0.01, 0.02, 0.03, 0.04]))})
    return [*done, {"name": "Conductivity and pH with the meter", "passed": True},
            {"name": "Alarm test", "passed": True}]  # fmt: skip


def _evening(member: Member, night: TrueTreatment) -> Document:
    """The plan and what was seen at the end, the same every time: nobody's story hangs on it."""
    return {
        "planned_minutes": member.regime.minutes,
        "planned_uf_l": round(night.uf_l, 1),
        "set_uf_l": round(night.uf_l, 1),
        "planned_rinse_back_l": RINSE_BACK_L,
        "plan_choice": PlanChoice.AS_PRESCRIBED,
        "dialyser_look": DialyserLook.CLEAR,
        "blood_return": BloodReturn.WHOLE,
        "disinfected": True,
        "checklist_version": 1,
        "run_sheet_version": 0,
        "steps": [
            {"at": (night.start - timedelta(minutes=minutes)).isoformat(), "key": key, "words": words}
            for minutes, key, words in (STEPS if not member.catheter else ())
        ],
    }


STEPS = (
    (26, "wash_arm", "Wash the access arm with soap and water, and dry it"),
    (14, "tape_arterial", "Tape the arterial needle"),
    (8, "tape_venous", "Tape the venous needle"),
    (2, "pump_slow", "Start the pump slowly"),
)
"""Minutes before the start, and a few steps of the run sheet."""


NOT_SIMULATED = {key: field.likely for key, field in READING.items()}
"""Stands in a reading for what no body and no circuit of the demo makes: the same every time."""


def _readings(member: Member, night: TrueTreatment, circuit: Circuit, rng: Generator) -> list[Document]:
    """Ten minutes after the start, then every interval, none in the last quarter of an hour."""
    step, rows = member.regime.interval, []
    for minute in [10, *range(step, night.minutes - 14, step)]:
        share = minute / night.minutes
        arterial, venous = pressures(member, circuit, night.qb, share, rng)
        systolic, diastolic = pressure(member, night, share, rng)
        rows.append(
            NOT_SIMULATED
            | {
                "at": (night.start + timedelta(minutes=minute)).isoformat(),
                "qb_ml_min": night.qb,
                "qd_ml_min": member.regime.qd,
                "arterial_mmhg": arterial,
                "venous_mmhg": venous,
                "tmp_mmhg": membrane_pressure(night, share, rng),
                "uf_rate_ml_h": round(1000 * night.uf_l / night.hours, -1),
                "uf_volume_l": round(night.uf_l * share, 2),
                "systolic": systolic,
                "diastolic": diastolic,
                "pulse": round(float(rng.normal(75, 6))),
                "conductivity_ms_cm": round(float(rng.normal(14, 0.06)), 1),
                "dialysate_temperature_c": round(float(rng.normal(36.5, 0.1)), 1),
            }
        )
    return rows


def _events(night: TrueTreatment, rng: Generator) -> list[Document]:
    found = []
    if night.mishap:
        at = night.start + timedelta(minutes=night.minutes - 5 if night.mishap.left < 1 else 15)
        at = night.end + timedelta(minutes=20) if night.mishap.kind == EventKind.BLEEDING else at
        found.append({"at": at.isoformat(), "kind": night.mishap.kind, "note": night.mishap.note})
    if night.low_at is not None and night.mishap is None:
        at = night.start + timedelta(minutes=round(night.low_at * night.minutes))
        note = "Light-headed. Feet up, fluid removal off for half an hour, better."
        found.append({"at": at.isoformat(), "kind": EventKind.HYPOTENSION, "note": note})
    if night.cramp:
        at = night.start + timedelta(minutes=round(0.85 * night.minutes))
        note = str(rng.choice(["Left calf.", "Both feet, went off when I stretched.", "Right hand."]))
        found.append({"at": at.isoformat(), "kind": EventKind.CRAMP, "note": note})
    return found


def _medicines(member: Member, night: TrueTreatment) -> list[Document]:
    units = round(member.regime.bolus_per_kg * member.target_kg, -2)
    given = {"at": (night.start + timedelta(minutes=2)).isoformat(), "name": coded("heparin"), "amount": units}
    return [given | {"unit": coded("units")}]


def _sites(
    member: Member, night: TrueTreatment, sites: Sites, *, turn: int, ago: float, rng: Generator
) -> list[Document]:
    """One site of each use, in turn; a narrowed outflow bleeds longer."""
    rows: list[Document] = []
    for use, ids in ((SiteUse.ARTERIAL, sites.arterial), (SiteUse.VENOUS, sites.venous)):
        row: Document = {"site": ids[turn % len(ids)], "use": use}
        if not member.catheter:
            slower = 0.12 * outflow_rise(member.story, ago)
            row["attempts"] = 2 if rng.random() < 0.04 else 1
            row |= _needle(member, turn)
            row["bleeding_minutes"] = max(2, round(float(rng.normal(7 + slower, 1.6))))
        rows.append(row)
    if night.mishap and night.mishap.kind == EventKind.BLEEDING:
        rows[-1]["bleeding_minutes"] = 35
    return rows


def _needle(member: Member, turn: int) -> Document:
    """The needle itself: blunt in a buttonhole."""
    blunt = member.technique == Technique.BUTTONHOLE
    return {
        "gauge": member.gauge,
        "needle": NeedleKind.BLUNT if blunt else NeedleKind.SHARP,
        "length_mm": 25,
        "pain": turn % 2 if blunt else 2 + turn % 3,
        "flash": True,
        "flushed": True,
    }


def _forget(document: Document, rng: Generator) -> Document:
    """Leave some numbers out, as people do; never the times."""
    kept = {name: value for name, value in document.items() if not _slips(value, rng)}
    for reading in kept["readings"]:
        for name in [name for name, value in reading.items() if _slips(value, rng)]:
            reading[name] = None
    return kept


def _slips(value: object, rng: Generator) -> bool:
    return isinstance(value, int | float) and rng.random() < FORGOTTEN


def _confirm(document: Document, rng: Generator) -> Document:
    unusual = plausible.unusual(document)
    return document | {"confirmed": [mark.field for mark in unusual if rng.random() < CONFIRMED]}
