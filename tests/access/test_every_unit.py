"""Three units, in America, in Spain and in New Zealand, read every page of every role: a foreign unit on one fails, and
so does a day in another order, the other clock, the other spelling, or a time of a patient who lives in another zone
that is on the clock of the unit, or of nobody, and does not say so.

What equations reckon in stands on the pages that work a number out, with the reader's own beside it: they have a test
of their own.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction
from django.utils import timezone

from alerts.models import Alert, AlertStep
from alerts.models.choices import StepKind, Urgency
from alerts.rules.base import Evidence
from dosing.services.month.computing import compute_month
from dosing.services.night.computing import compute
from homedialysis.accounts.models import Unit
from homedialysis.accounts.services.dates import told_clock
from homedialysis.accounts.services.units import speaking, units_of
from sessions.facts import local_day
from sessions.facts.choices import Analyte
from sessions.models import Patient, TreatmentRecord
from tests.access.addresses import Address, every_address
from tests.access.table import TABLE
from tests.access.walking import ask
from tests.access.world import ROLES, World, build_world
from tests.factories import A_NIGHT, BloodFactory, record_night
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
    patients_zone: str
    evening: date


BLOOD = "phosphate|calcium|ha?emoglobin|albumin|creatinine|urea"
US = System(
    {"unit_system": "us", "weight_unit": "lb", "temperature_unit": "°F"}
    | {"day_order": "mdy", "hour_clock": "12", "week_begins": 6, "english": "en-us", "time_zone": "America/Denver"},
    re.compile(
        "|".join(
            (_beside(BLOOD, "mmol/L|g/L|µmol/L"), r"(?<![/\w])kg\b(?!/)", "°C", DAY_FIRST, ISO_DAY, OF_24, BRITISH)
        )
    ),
    ("154.5", "mg/dL urea nitrogen", "°F", "Mar 2, 2026", "10:07 PM", "Hemoglobin"),
    "Pacific/Auckland",
    date(2026, 4, 4),  # clocks go back in the night: south of the equator in April
)
MIXED = System(
    {
        "unit_system": "si", "weight_unit": "kg", "temperature_unit": "°C", "day_order": "ymd", "hour_clock": "24",
        "week_begins": 0, "english": "en", "time_zone": "Europe/Madrid",
        "analyte_units": {
            Analyte.UREA: "mg/dL urea", Analyte.HAEMOGLOBIN: "g/dL", Analyte.PHOSPHATE: "mg/dL",
            Analyte.CALCIUM: "mg/dL", Analyte.CREATININE: "mg/dL", Analyte.ALBUMIN: "g/dL",
        },
    },
    re.compile("|".join((_beside(BLOOD, "mmol/L|g/L|µmol/L"), "urea nitrogen", r"\blb\b", "°F", OF_12))),
    ("70.1", "mg/dL urea", "5.89", "2026-03-02"),
    "Asia/Kolkata",
    date(2026, 3, 28),  # Madrid's clocks go forward in the night, those of the patient never
)  # fmt: skip
SI = System(
    {
        "unit_system": "si",
        "weight_unit": "kg",
        "temperature_unit": "°C",
        "day_order": "dmy",
        "time_zone": "Pacific/Auckland",
    },
    re.compile("|".join((_beside(BLOOD, "mg/dL|g/dL"), r"\blb\b", "°F", MONTH_FIRST, ISO_DAY, OF_12))),
    ("70.1", "mmol/L", "°C", "2 Mar 2026", "22:07", "Haemoglobin"),
    "America/Denver",
    date(2026, 3, 7),  # clocks go forward in the night
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


WEIGHED = {"pre_weight_kg": 72.4, "post_weight_kg": 70.1}


@dataclass(frozen=True)
class Nights:
    """A treatment begun at 22:07 where the patient lives, and one at 00:49 three days later, for the evening before."""

    late: TreatmentRecord
    after_midnight: TreatmentRecord

    @property
    def both(self) -> tuple[TreatmentRecord, TreatmentRecord]:
        return self.late, self.after_midnight

    def clocks(self, zone: ZoneInfo, hours: int = 5) -> set[str]:
        """What a clock of this zone shows whenever something of them was noted, each as such a unit writes it."""
        moments = [each.started_at + timedelta(hours=count) for each in self.both for count in range(hours)]
        walls = [moment.astimezone(zone) for moment in moments]
        return {f"{wall:%H:%M}" for wall in walls} | {f"{wall.hour % 12 or 12}:{wall:%M %p}" for wall in walls}


def nights_of(world: World, system: System) -> Nights:
    """Ana moves to the zone of the system, and is treated there."""
    Patient.objects.filter(pk=world.ana.pk).update(time_zone=system.patients_zone)
    ana, zone = Patient.objects.get(pk=world.ana.pk), ZoneInfo(system.patients_zone)
    walls = [
        datetime.combine(system.evening, time(22, 7), zone),
        datetime.combine(system.evening + timedelta(days=3), time(0, 49), zone),
    ]
    records = [record_night(ana, wall.astimezone(UTC), pre_temperature_c=38.6, **WEIGHED) for wall in walls]
    for record in records:
        compute(record, at=timezone.now())
        seen = Evidence(
            kind="record.pre_temperature_c", at=record.started_at, day=record.night, value=38.6, limit=38.0,
            record=str(record.pk),
        )  # fmt: skip
        kept = Alert.objects.create(
            patient=ana, rule="body_temperature", cause=str(record.night), urgency=Urgency.AT_REVIEW,
            evidence=[seen.as_json()], first_night=record.night, last_night=record.night,
            opened_at=record.started_at, last_seen_at=record.started_at,
        )  # fmt: skip
        AlertStep.objects.create(alert=kept, kind=StepKind.OPENED, at=record.started_at)
    return Nights(*records)


def unnamed_clocks(text: str, nights: Nights, system: System) -> list[str]:
    """Times of the two treatments on another clock than the patient's that no name of a zone stands beside."""
    unit_zone = system.chosen["time_zone"]
    own = nights.clocks(ZoneInfo(system.patients_zone), hours=13)  # with when they came in
    foreign = (nights.clocks(ZoneInfo(unit_zone)) | nights.clocks(ZoneInfo("UTC"))) - own
    pattern = re.compile(r"(?<![\d:+-])(?:" + "|".join(map(re.escape, sorted(foreign))) + r")(?![\d:]| [AP]M)")
    hits = [_around(hit) for hit in pattern.finditer(text)]
    return [each for each in hits if not re.search(rf"{re.escape(unit_zone)}|UTC", each)]


def days_told(world: World, nights: Nights, system: System) -> Iterator[str]:
    """What the pages of the two treatments say wrong of the evening that each served, and of its start."""
    client = world.client("nephrologist")
    units = units_of(Unit.objects.get())
    for record, wall in zip(nights.both, (time(22, 7), time(0, 49)), strict=True):
        evening = system.evening + timedelta(days=0 if record == nights.late else 2)
        page = words_of(client.get(f"/nights/{record.pk}/").content.decode())
        with speaking(units):
            wanted = (local_day.day(evening), told_clock(wall))
        yield from (f"{each} is not on the page of {record}" for each in wanted if each not in page)
    timezone.deactivate()


def _around(hit: re.Match[str]) -> str:
    return hit.string[max(0, hit.start() - 40) : hit.end() + 30]


def test_no_page_of_any_role_has_a_foreign_unit() -> None:
    world = lived_in()
    asked = addresses_of(world)
    wrong, said = {}, {}
    for name, system in SYSTEMS.items():
        with transaction.atomic():  # of each system nothing stays
            Unit.objects.update(**{"analyte_units": {}} | system.chosen)
            nights = nights_of(world, system)
            world.ids["record_id"] = nights.late.pk
            texts = {each: words_of(html) for each, html in pages_of(world, asked).items()}
            assert len(texts) >= (60 if name == "us" else 15)
            asked = [each for each in asked if SPOKEN.search(texts.get(each[1].name, ""))] if name == "us" else asked
            for each, text in texts.items():
                plain = PUBLISHED.sub(" ", MACHINE.sub(" ", text))
                found = [_around(hit) for hit in system.foreign.finditer(plain)]
                if found and each not in CHOOSING | WORKED:
                    wrong[name, each] = found
                if found := unnamed_clocks(text, nights, system):
                    wrong[name, each, "clock"] = found
            whole = " ".join(texts.values())
            said[name] = [words for words in system.said if words not in whole]
            wrong |= {(name, "night", told): told for told in days_told(world, nights, system)}
            transaction.set_rollback(True)
    assert (wrong, said) == ({}, {key: [] for key in SYSTEMS})
