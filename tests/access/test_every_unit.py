"""Three units, in America, in Spain and in Britain, read every page of every role: a foreign unit on one fails.

What equations reckon in stands on the pages that work a number out, with the reader's own beside it: they have a test
of their own.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import pytest
from django.utils import timezone

from alerts.models import Alert, AlertStep
from alerts.models.choices import StepKind, Urgency
from alerts.rules.base import Evidence
from dosing.services.month.computing import compute_month
from dosing.services.night.computing import compute
from homedialysis.accounts.models import Unit
from sessions.facts.choices import Analyte
from sessions.models import Patient, TreatmentRecord
from tests.access.addresses import Address, every_address
from tests.access.table import TABLE
from tests.access.walking import ask
from tests.access.world import ROLES, World, build_world
from tests.factories import A_NIGHT, BloodFactory
from tests.page_text import laid_flat

pytestmark = pytest.mark.django_db
CHOOSING = {"accounts:unit", "accounts:account", "dosing:analyte-units", "dosing:laboratory", "dosing:new-laboratory"}
"""Pages on which units are chosen name all of them."""
WORKED = {"dosing:number", "dosing:month-number"}
PAPERS = (".pdf", ".csv", ".zip", ".json", "/readyz", "/original/", "/file/", "/takeout/")
MACHINE = re.compile(
    r"(?i)(?:dialysate|dialysis fluid) temperature,? (?:[\d.]+ )?°C|temperature of the dialysis fluid[^;|]{0,60}?°C"
    r"|mS/cm °C|Fever from 38 °C|at least [\d.]+ °C"
)
"""What is read off the machine stays in the machine's unit, and a source says what it says."""
SPOKEN = re.compile(r"\blb\b|°F|mg/dL|g/dL|\b[AP]M\b")
"""What an American page says where it speaks of such things at all: only those pages are asked in other systems."""
BRITISH = r"(?i:haem|anaem|oedem|diarrhoea|catheteris|\blitres?\b|colour|anaesthe|millimetre|programme\b)"
PUBLISHED = re.compile(r"(?:KDOQI|KDIGO|UK Renal Association,|European Best Practice Guidelines,) \w*aemi?\w*")
"""What was published keeps its name in every spelling."""
MONTHS = "(?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sept?|Oct|Nov|Dec)[a-z]*"
DAY_FIRST = rf"(?<!Version )(?<![.-])\b\d{{1,2}} {MONTHS}\b"
MONTH_FIRST = rf"\b{MONTHS} \d{{1,2}}\b(?![:.]\d)"
ISO_DAY = r"\b20\d\d-\d\d-\d\d\b(?!T)"
OF_24 = r"\b(?:0\d|1[3-9]|2[0-3]):[0-5]\d\b(?! [AP]M|:)"
OF_12 = r"\d [AP]M\b"


OTHERS = "(?i:potassium|bicarbonate|HCO|sodium|ferritin|hormone|saturation|chlorine|buffer)"
"""What has units of its own."""


def _beside(names: str, units: str) -> str:
    """One of these analytes with one of these units, in one breath."""
    between = rf"(?:(?!{OTHERS})[^.;|]){{0,60}}?"
    return rf"(?i:(?<!dialysate )\b(?:{names})\b){between}(?<![\w/])(?:{units})\b"


@dataclass(frozen=True)
class System:
    """What a unit chose, and what is foreign to it."""

    chosen: dict[str, Any]
    foreign: re.Pattern[str]
    said: tuple[str, ...]


BLOOD = "phosphate|calcium|ha?emoglobin|albumin|creatinine|urea"
US = System(
    {"unit_system": "us", "weight_unit": "lb", "temperature_unit": "°F"}
    | {"day_order": "mdy", "hour_clock": "12", "week_begins": 6, "english": "en-us"},
    re.compile(
        "|".join(
            (_beside(BLOOD, "mmol/L|g/L|µmol/L"), r"(?<![/\w])kg\b(?!/)", "°C", DAY_FIRST, ISO_DAY, OF_24, BRITISH)
        )
    ),
    ("154.5", "mg/dL urea nitrogen", "°F", "Mar 2, 2026", "9:30 PM", "Hemoglobin"),
)
MIXED = System(
    {
        "unit_system": "si", "weight_unit": "kg", "temperature_unit": "°C", "day_order": "ymd", "hour_clock": "24",
        "week_begins": 0, "english": "en", "analyte_units": {
            Analyte.UREA: "mg/dL urea", Analyte.HAEMOGLOBIN: "g/dL", Analyte.PHOSPHATE: "mg/dL",
            Analyte.CALCIUM: "mg/dL", Analyte.CREATININE: "mg/dL", Analyte.ALBUMIN: "g/dL",
        },
    },
    re.compile("|".join((_beside(BLOOD, "mmol/L|g/L|µmol/L"), "urea nitrogen", r"\blb\b", "°F", OF_12))),
    ("70.1", "mg/dL urea", "5.89", "2026-03-02"),
)  # fmt: skip
SI = System(
    {"unit_system": "si", "weight_unit": "kg", "temperature_unit": "°C", "day_order": "dmy"},
    re.compile("|".join((_beside(BLOOD, "mg/dL|g/dL"), r"\blb\b", "°F", MONTH_FIRST, ISO_DAY, OF_12))),
    ("70.1", "mmol/L", "°C", "2 Mar 2026", "21:30", "Haemoglobin"),
)
SYSTEMS = {"us": US, "mixed": MIXED, "si": SI}


def lived_in() -> World:
    """The small world with bloods, a fever and a weight off target, and alerts of both."""
    world = build_world()
    record, ana = world.record, world.ana
    for analyte, value in ((Analyte.PHOSPHATE, 1.9), (Analyte.HAEMOGLOBIN, 104), (Analyte.CALCIUM, 2.3)):
        BloodFactory(patient=ana, analyte=analyte, value=value, drawn_at=record.started_at)
    TreatmentRecord.objects.filter(pk=record.pk).update(pre_weight_kg=72.4, post_weight_kg=70.1, pre_temperature_c=38.6)
    compute(TreatmentRecord.objects.get(pk=record.pk), at=timezone.now())
    compute_month(ana, A_NIGHT.date().replace(day=1), at=timezone.now())
    alert(ana, "phosphate", f"blood.{Analyte.PHOSPHATE.value}", 1.9, 1.78, {"unit": "mmol/L"})
    alert(ana, "off_target", "number.off_target", 1.4, 1.0, {})
    alert(ana, "body_temperature", "record.pre_temperature_c", 38.6, 38.0, {})
    return world


def alert(ana: Patient, rule: str, kind: str, value: float, limit: float, parts: dict[str, str]) -> None:
    seen = Evidence(kind=kind, at=A_NIGHT, day=A_NIGHT.date(), value=value, limit=limit, parts=parts)
    day = A_NIGHT.date()
    kept = Alert.objects.create(
        patient=ana, rule=rule, cause="above" if rule == "off_target" else rule, urgency=Urgency.AT_REVIEW,
        evidence=[seen.as_json()], first_night=day, last_night=day, opened_at=A_NIGHT, last_seen_at=A_NIGHT,
        parts={"percent": 2},
    )  # fmt: skip
    AlertStep.objects.create(alert=kept, kind=StepKind.OPENED, at=A_NIGHT)


def open_to(role: str, column: int) -> set[str]:
    """The addresses that a role may open, by the table of doors."""
    return {name for name, doors in TABLE.items() if doors.get("GET", "").split()[column : column + 1] == ["200"]}


def addresses_of(world: World) -> list[tuple[str, Address]]:
    """Each page that somebody may open, once, with the first role that may. No papers and nothing for programs."""
    found: dict[str, tuple[str, Address]] = {}
    for role in ("nephrologist", "administrator", "patient", "technologist"):
        may = open_to(role, ROLES.index(role))
        for address in every_address():
            path = address.path(world.ids)
            if address.name in may and not path.startswith(("/api/", "/static/")) and not path.endswith(PAPERS):
                found.setdefault(address.name, (role, address))
    return list(found.values())


def pages_of(world: World, asked: list[tuple[str, Address]]) -> dict[str, str]:
    """What each says, of those that are pages."""
    answers = {address.name: ask(world.client(role), world, address, "GET") for role, address in asked}
    pages = {
        name: said for name, said in answers.items() if said.headers.get("Content-Type", "").startswith("text/html")
    }
    return {name: said.content.decode() for name, said in pages.items()}


def words_of(html: str) -> str:
    shown = re.sub(r"(?s)<(script|style)\b(?! type=\"application/json\").*?</\1>", " ", html)
    return laid_flat(re.sub(r"<[^>]+>", " ", shown))


def _around(hit: re.Match[str]) -> str:
    return hit.string[max(0, hit.start() - 40) : hit.end() + 30]


def test_no_page_of_any_role_has_a_foreign_unit() -> None:
    world = lived_in()
    asked = addresses_of(world)
    wrong, said = {}, {}
    for name, system in SYSTEMS.items():
        Unit.objects.update(**{"analyte_units": {}} | system.chosen)
        texts = {each: words_of(html) for each, html in pages_of(world, asked).items()}
        assert len(texts) >= (60 if name == "us" else 15)
        asked = [each for each in asked if SPOKEN.search(texts.get(each[1].name, ""))] if name == "us" else asked
        for each, text in texts.items():
            plain = PUBLISHED.sub(" ", MACHINE.sub(" ", text))
            if each not in CHOOSING | WORKED and (found := [_around(hit) for hit in system.foreign.finditer(plain)]):
                wrong[name, each] = found
        whole = " ".join(texts.values())
        said[name] = [words for words in system.said if words not in whole]
    assert (wrong, said) == ({}, {key: [] for key in SYSTEMS})
