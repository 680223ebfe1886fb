"""For every rule a history that fires it, one just inside that does not, and one of which it can say nothing.

The nights are usual ones with what the case is about changed; the figures are worked by hand against the default
limits of `alerts.limits.kinds`, which name their sources.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from alerts.limits.book import LimitBook
from alerts.models import Limit
from alerts.rules.base import History, Point, Surroundings
from homedialysis.accounts.models import User
from sessions.models import Analyte, EventKind, SupplyDelivery, SupplyItem, WaterTest
from sessions.services.due import Due
from sessions.services.stock import Stock
from tests.alerts.made_nights import (
    NOW,
    PATIENT,
    USUAL_CHECKS,
    course,
    history,
    night,
    prescription,
    result,
    said_left_out,
    scattered,
)
from tests.factories import A_NIGHT

Make = Callable[[], History]


@dataclass(frozen=True, slots=True)
class Case:
    """says: the whole sentence; why: how that begins which cannot be judged; at: when it is looked at."""

    fires: Make
    says: str
    inside: Make
    unknown: Make
    why: str
    at: datetime = NOW


def once(changes: dict[str, Any]) -> Make:
    return lambda: history(night(0, **changes))


def nights(*changes: dict[str, Any]) -> Make:
    return lambda: history(*(night(index, **change) for index, change in enumerate(changes)))


def by_number(
    over: dict[str, Any], says: str, inside: dict[str, Any], without: dict[str, Any], why: str, times: int = 1
) -> Case:
    """A rule over something of each night, that opens after so many nights."""
    return Case(nights(*[over] * times), says, nights(*[inside] * times), nights(*[without] * times), why)


def reading(**columns: float) -> dict[str, Any]:
    return {"readings": [{}, columns, {}]}


def without_reading(column: str) -> dict[str, Any]:
    return {"readings": [{column: None}] * 3}


def site(**columns: Any) -> dict[str, Any]:
    return {"sites": [columns, {}]}


def noted(kind: EventKind, times: int = 1) -> Case:
    """Something the patient wrote down: without it nothing is seen, and of an open record nothing can be said."""
    when = "on 2 Mar" if times == 1 else "in 2 treatments from 2 Mar to 4 Mar"
    return Case(
        nights(*[{"events": [kind.value]}] * times),
        f"{kind.label} {when}, as the patient wrote.",
        nights(*[{"events": [kind.value]}] * (times - 1), *[{}] * 3),
        nights({"finished": False}),
        "the record is still being filled in",
    )


def check(key: str, **changes: Any) -> dict[str, Any]:
    """The usual checks, one of them with another answer."""
    return {"checks": [row | changes if row["key"] == key else row for row in USUAL_CHECKS]}


def blood(analyte: Analyte, beyond: float, says: str, inside: float, *, twice: bool = False) -> Case:
    """twice: only two results in a row call; inside is then one beyond after one inside."""
    name = str(analyte.label).lower()
    before = [result(analyte, beyond, days=-28)] if twice else []
    return Case(
        lambda: history(night(), bloods=[*before, result(analyte, beyond)]),
        says,
        lambda: history(night(), bloods=[*before, result(analyte, inside)]),
        lambda: history(night(), bloods=[result(analyte, beyond, timing="post")]),
        f"no {name} of the last three months is there",
        at=A_NIGHT + timedelta(days=5),
    )


def around(**parts: Any) -> Make:
    return lambda: history(night(), around=Surroundings(**parts))


def due(kind: str, on: date, of: str) -> Make:
    return around(due=[Due(kind, on, on < NOW.date(), of, said=("last", {"day": "2026-01-05"}))])


def overdue(kind: str, late: date, says: str, in_time: date, why: str, of: str = "") -> Case:
    return Case(due(kind, late, of), f"{says} Last on 5 Jan 2026.", due(kind, in_time, of), around(), why)


def water(value: float, *, kind: str = "bacteria", fluid: str = "dialysis_water", coarse: bool = False) -> WaterTest:
    unit = {"bacteria": "CFU/mL", "endotoxin": "EU/mL"}[kind]
    return WaterTest(
        patient=PATIENT, kind=kind, value=value, unit=unit, fluid=fluid, place="product", below_detection=coarse,
        sampled_at=A_NIGHT,
    )  # fmt: skip


def stock(days: int | None, expected: SupplyDelivery | None = None) -> Stock:
    item = SupplyItem(name="Dialysers", unit_word="pieces", per_treatment=1, cover_days=14)
    counted = A_NIGHT if days is not None else None
    return Stock(item, 5 if counted else None, counted, 0, days, "" if counted else "never counted", None, expected)


def changed(version: int = 2) -> list[Any]:
    """The usual prescription until the first night, then another."""
    return [
        prescription(version=1, in_force=DateTimeTZRange(A_NIGHT - timedelta(days=400), A_NIGHT)),
        prescription(version=version, in_force=DateTimeTZRange(A_NIGHT, None), signed_at=A_NIGHT),
    ]


def every(days: int, count: int) -> Make:
    """A night every so many days until NOW's eve, against three prescribed a week on whatever days."""
    made = [night((28 - days * (index + 1)) / 2 - 5.5) for index in range(count)]
    long_before = night(-30)
    ordered = prescription(weekdays=[])
    since = A_NIGHT - timedelta(days=90)
    return lambda: history(long_before, *reversed(made), since=since, prescriptions=[ordered])


def drift(key: str, usual: float, scatter: float, slope: float, says: str, **more: Any) -> Case:
    """Forty usual nights, then twenty that climb by `slope` a night; inside: no climb; unknown: five nights."""
    climbing = scattered(1, usual, scatter, 60, slope=slope, flat=40)
    flat = scattered(1, usual, scatter, 60)
    return Case(
        lambda: history(*more.get("nights", [night()]), course=course(key, climbing)),
        says,
        lambda: history(*more.get("nights", [night()]), course=course(key, flat)),
        lambda: history(night(), course=course(key, flat[:5])),
        "5 usable treatments, 8 are needed",
    )


def together(says: str, unknown: str, **signs: tuple[float, float, float]) -> Case:
    """The same of several quantities on the same nights, each with its usual, scatter and climb."""

    def made(slopes: bool, nights: int = 60) -> History:
        series = [
            course(key, scattered(place, usual, scatter, 60, slope=slope if slopes else 0, flat=40)[:nights])
            for place, (key, (usual, scatter, slope)) in enumerate(signs.items(), start=1)
        ]
        return history(night(), course=[joined(points) for points in zip(*series, strict=True)])

    return Case(lambda: made(True), says, lambda: made(False), lambda: made(False, 5), unknown)


def joined(points: Sequence[Point]) -> Point:
    """The nights of several series as one."""
    return replace(points[0], values={key: value for point in points for key, value in point.values.items()})


LINE_CHOSEN = LimitBook(
    for_unit=(
        Limit(name="uf_rate_line", value=100, since=A_NIGHT - timedelta(days=90), set_by=User(name="Kim"), why="x"),
    )
)
"""At 70 kg the published line is 710 mL/h, 10.1 mL/kg/h: 2.85 L in four hours are over it, 2.82 L are not."""

ABOVE = "17 of the last 20 nights above the earlier middle"
BELOW = "20 of the last 20 nights below the earlier middle"

CASES: dict[str, Case] = {
    # Safety
    "needle_dislodged": noted(EventKind.NEEDLE_DISLODGED),
    "air_in_line": noted(EventKind.AIR),
    "hard_bleeding": noted(EventKind.BLEEDING),
    "fainted": noted(EventKind.FAINTED),
    "chest_pain": noted(EventKind.CHEST_PAIN),
    "breathless": noted(EventKind.BREATHLESS),
    "did_not_answer": noted(EventKind.NO_ANSWER),
    "line_apart": noted(EventKind.LINE_APART),
    "catheter_open": noted(EventKind.CATHETER_OPEN),
    "blood_colour": noted(EventKind.BLOOD_COLOUR),
    "chlorine_connected": noted(EventKind.CHLORINE),
    "allergic_reaction": noted(EventKind.ALLERGY),
    "heart_rhythm": noted(EventKind.HEART),
    # Fluid and weight
    "uf_rate": by_number(
        {"uf_removed_l": 2.85},
        "UF rate 10.2 mL/kg/h on 2 Mar, over the limit of 10 mL/kg/h.",
        {"uf_removed_l": 2.8},
        {"post_weight_kg": None},
        "weight after is not given",
    ),
    "uf_volume": by_number(
        {"uf_removed_l": 4.1},
        "Fluid removed 4.1 L at worst, in 2 treatments from 2 Mar to 4 Mar, over the limit of 4 L.",
        {"uf_removed_l": 4.0},
        {"uf_removed_l": None, "pre_weight_kg": None},
        "fluid removed was not noted",
        times=2,
    ),
    "gain": by_number(
        {"pre_weight_kg": 73.3},
        "Gained, of target weight, 4.7 % at worst, in 3 treatments from 2 Mar to 6 Mar, over the limit of 4.5 %.",
        {"pre_weight_kg": 73.15},
        {"pre_weight_kg": None},
        "weight before is not given",
        times=3,
    ),
    "off_target": by_number(
        {"post_weight_kg": 71.1},
        "Weight after treatment 1.1 kg above target in 2 treatments from 2 Mar to 4 Mar, more than once running.",
        {"post_weight_kg": 71.0},
        {"post_weight_kg": None},
        "weight after is not given",
        times=2,
    ),
    "target_outdated": drift(
        "systolic", 140, 9, 1.5,
        f"Systolic pressure up 23 mmHg over 5 weeks, {ABOVE}; weight after is on target: "
        "the target weight may be too high by now (flesh lost).",
    ),
    "gain_rise": drift(
        "gain", 3, 0.5, 0.1, f"Gain between treatments, of target weight, up 1.5 % over 5 weeks, {ABOVE}."
    ),
    "uf_rate_line": Case(
        lambda: history(night(uf_removed_l=2.85), limits=LINE_CHOSEN),
        "UF rate 10.2 mL/kg/h on 2 Mar, over 100 % of the line that grows with weight.",
        lambda: history(night(uf_removed_l=2.82), limits=LINE_CHOSEN),
        lambda: history(night(post_weight_kg=None), limits=LINE_CHOSEN),
        "weight after is not given",
    ),
    # Blood pressure: three of ten treatments, or once when very low
    "systolic_low": Case(
        nights(reading(systolic=89), {}, reading(systolic=88), {}, {}, {}, {}, {}, {}, reading(systolic=89)),
        "Systolic pressure 88 mmHg at worst, in 3 treatments from 2 Mar to 20 Mar, under the limit of 90 mmHg.",
        nights(reading(systolic=89), {}, reading(systolic=70), {}, {}, {}, {}, {}, {}, {}, reading(systolic=89)),
        once({"readings": [], "pre_systolic": None, "post_systolic": None, "post_standing_systolic": None}),
        "no blood pressure was noted",
    ),
    "low_noted": noted(EventKind.HYPOTENSION, times=2),
    "fall_with_symptoms": by_number(
        reading(systolic=120) | {"events": ["cramp"]},
        "Systolic pressure fell, with symptoms, by 20 mmHg at worst, in 2 treatments from 2 Mar to 4 Mar, "
        "over the limit of 20 mmHg.",
        reading(systolic=121) | {"events": ["cramp"]},
        {"pre_systolic": None},
        "no pressure before, or none during the treatment, was noted",
        times=2,
    ),
    "standing_fall": by_number(
        {"post_standing_systolic": 108},
        "Blood pressure falls on standing in 2 treatments from 2 Mar to 4 Mar: "
        "systolic fall on standing 20 mmHg (limit 20).",
        {"post_standing_systolic": 109},
        {"post_standing_systolic": None, "post_standing_diastolic": None},
        "no pressure after, sitting and standing, was noted",
        times=2,
    ),
    "pressure_high": by_number(
        {"pre_systolic": 180},
        "Very high pressure on 2 Mar: systolic before 180 mmHg (limit 180).",
        {"pre_systolic": 179, "pre_diastolic": 109},
        {"pre_systolic": None, "pre_diastolic": None},
        "no blood pressure before treatment was noted",
    ),
    "pressure_high_after": by_number(
        {"post_systolic": 170},
        "Systolic pressure after 170 mmHg at worst, in 2 treatments from 2 Mar to 4 Mar, over the limit of 170 mmHg.",
        {"post_systolic": 169},
        {"post_systolic": None},
        "no blood pressure after treatment was noted",
        times=2,
    ),
    # Symptoms
    "cramp": noted(EventKind.CRAMP, 2),
    "dizzy": noted(EventKind.DIZZY, 2),
    "headache": noted(EventKind.HEADACHE, 2),
    "nausea": noted(EventKind.NAUSEA, 2),
    "something_else": noted(EventKind.OTHER),
    # Dose
    "short": by_number(
        {"minutes": 117},
        "Treatment shortened to 49 % of the prescribed time on 2 Mar.",
        {"minutes": 120},
        {"ordered": None},
        "prescribed time is not given",
    ),
    "fewer_treatments": Case(
        every(3, 9),
        "9 treatments in four weeks where 12 are prescribed, 75 %.",
        every(2, 11),
        lambda: history(night(), prescriptions=[]),
        "no prescription says how many treatments are due",
        at=A_NIGHT + timedelta(days=17, hours=12),
    ),
    "single_pool_ktv": by_number(
        {"urea": (20.0, 8.0)},
        "Single-pool Kt/V of one of three treatments a week 1.09 on 2 Mar, under the limit of 1.2.",
        {"urea": (20.0, 7.0)},
        {"urea": None},
        "no urea before and after belongs to this treatment",
    ),
    "weekly_ktv": by_number(
        {"urea": (20.0, 6.0), "ordered": prescription(days_per_week=2.0, weekdays=[1, 4])},
        "Weekly standard Kt/V, with the kidney, 1.53 1/wk on 2 Mar, under the limit of 2.1 1/wk.",
        {"urea": (20.0, 8.0), "ordered": prescription(days_per_week=4.0, weekdays=[0, 2, 4, 6])},
        {"urea": None, "ordered": prescription(days_per_week=4.0, weekdays=[0, 2, 4, 6])},
        "no urea before and after belongs to this treatment",
    ),
    "blood_processed": by_number(
        {"blood_processed_l": 64.0},
        "Blood processed, of what the prescribed flow gives, 89 % at worst, in 2 treatments from 2 Mar to 4 Mar, "
        "under the limit of 90 %.",
        {"blood_processed_l": 64.8},
        {"blood_processed_l": None, "readings": []},
        "neither the machine's total nor a blood flow was noted",
        times=2,
    ),
    "blood_flow": by_number(
        {"readings": [{"qb_ml_min": 265.0}] * 3},
        "Blood flow, of prescribed, 88 % at worst, in 2 treatments from 2 Mar to 4 Mar, under the limit of 90 %.",
        {"readings": [{"qb_ml_min": 270.0}] * 3},
        {"ordered": None},
        "no prescription was in force",
        times=2,
    ),
    "length_fall": drift(
        "length", 100, 2, -0.5, f"Length of treatments, of prescribed, down 10 % over 7 weeks, {BELOW}."
    ),
    "dose_drift": drift(
        "clearance", 200, 8, -1.8, f"Clearance by the machine down 35 mL/min at 300 mL/min over 7 weeks, {BELOW}."
    ),
    # Access
    "arterial_low": by_number(
        reading(arterial_mmhg=-251),
        "Arterial pressure -251 mmHg on 2 Mar, under the limit of -250 mmHg.",
        reading(arterial_mmhg=-250),
        without_reading("arterial_mmhg"),
        "no arterial pressure at treatment flow was noted",
    ),
    "venous_high": by_number(
        reading(venous_mmhg=251),
        "Venous pressure 251 mmHg on 2 Mar, over the limit of 250 mmHg.",
        reading(venous_mmhg=250),
        without_reading("venous_mmhg"),
        "no venous pressure at treatment flow was noted",
    ),
    "venous_low": by_number(
        reading(venous_mmhg=19),
        "Venous pressure 19 mmHg on 2 Mar, under the limit of 20 mmHg.",
        reading(venous_mmhg=20),
        without_reading("venous_mmhg"),
        "no venous pressure at treatment flow was noted",
    ),
    "bleeding": by_number(
        site(bleeding_minutes=21),
        "Bleeding after needles 21 min at worst, in 2 treatments from 2 Mar to 4 Mar, over the limit of 20 min.",
        site(bleeding_minutes=20),
        {"sites": []},
        "bleeding time was not noted",
        times=2,
    ),
    "attempts": by_number(
        site(attempts=3),
        "Needle attempts 4 at worst, in 2 treatments from 2 Mar to 4 Mar, over the limit of 3.",
        site(attempts=2),
        {"sites": [{"attempts": None}]},
        "no needle attempts were noted",
        times=2,
    ),
    "needle_pain": by_number(
        site(pain=7),
        "Pain at a needle 7 of 10 at worst, in 2 treatments from 2 Mar to 4 Mar, over the limit of 6.",
        site(pain=6),
        {"sites": [{"pain": None}]},
        "no pain score was noted",
        times=2,
    ),
    "infiltration": noted(EventKind.INFILTRATION),
    "access_redness": noted(EventKind.ACCESS_REDNESS),
    "access_silent": noted(EventKind.ACCESS_SILENT),
    "fever": noted(EventKind.FEVER_CHILLS),
    "body_temperature": by_number(
        {"pre_temperature_c": 38.0},
        "Body temperature 38.0 °C on 2 Mar, over the limit of 38 °C.",
        {"pre_temperature_c": 37.9},
        {"pre_temperature_c": None},
        "no body temperature was noted",
    ),
    "access_check": by_number(
        check("thrill", passed=False, note="it is still"),
        "At the access on 2 Mar: It hums as ever, it is still.",
        {},
        {"checks": USUAL_CHECKS[:1]},
        "no look at the access was noted",
    ),
    "access_story": together(
        "Signs of the access worsen together: venous pressure up 12 mmHg at 300 mL/min, clearance by the machine down "
        "12 mL/min at 300 mL/min, bleeding time up 3 min.",
        "5 usable treatments, 8 are needed",
        venous=(140, 9, 0.7), clearance=(180, 9, -0.9), bleeding=(8, 1.5, 0.2),
    ),
    "venous_rise": drift("venous", 140, 9, 1.5, f"Venous pressure up 24 mmHg at 300 mL/min over 5 weeks, {ABOVE}."),
    "arterial_fall": drift(
        "arterial", -150, 9, -1.5, f"Arterial pressure down 31 mmHg at 300 mL/min over 7 weeks, {BELOW}."
    ),
    "bleeding_rise": drift("bleeding", 8, 1.5, 0.3, f"Bleeding time up 5 min over 5 weeks, {ABOVE}."),
    # Circuit
    "clotting": noted(EventKind.CLOTTING, 2),
    "blood_leak": noted(EventKind.BLOOD_LEAK),
    "machine_alarm": noted(EventKind.MACHINE_ALARM, 2),
    "dialyser_look": by_number(
        {"dialyser_look": "clotted"},
        "Dialyser clotted after rinse-back on 2 Mar.",
        {"dialyser_look": "half"},
        {"dialyser_look": ""},
        "how the dialyser looked was not noted",
    ),
    "tmp_high": by_number(
        reading(tmp_mmhg=301),
        "Transmembrane pressure 301 mmHg on 2 Mar, over the limit of 300 mmHg.",
        reading(tmp_mmhg=300),
        without_reading("tmp_mmhg"),
        "no transmembrane pressure was noted",
    ),
    "tmp_rise": drift("tmp", 80, 8, 1.5, f"Transmembrane pressure up 24 mmHg over 4 weeks, {ABOVE}."),
    # Dialysis fluid
    "conductivity_low": by_number(
        reading(conductivity_ms_cm=13.2),
        "Conductivity 13.2 mS/cm on 2 Mar, under the limit of 13.3 mS/cm.",
        reading(conductivity_ms_cm=13.3),
        without_reading("conductivity_ms_cm"),
        "no conductivity was noted",
    ),
    "conductivity_high": by_number(
        reading(conductivity_ms_cm=14.8),
        "Conductivity 14.8 mS/cm on 2 Mar, over the limit of 14.7 mS/cm.",
        reading(conductivity_ms_cm=14.7),
        without_reading("conductivity_ms_cm"),
        "no conductivity was noted",
    ),
    "fluid_temperature_low": by_number(
        reading(dialysate_temperature_c=34.4),
        "Dialysate temperature 34.4 °C on 2 Mar, under the limit of 34.5 °C.",
        reading(dialysate_temperature_c=34.5),
        without_reading("dialysate_temperature_c"),
        "no temperature of the dialysis fluid was noted",
    ),
    "fluid_temperature_high": by_number(
        reading(dialysate_temperature_c=38.1),
        "Dialysate temperature 38.1 °C on 2 Mar, over the limit of 38 °C.",
        reading(dialysate_temperature_c=38.0),
        without_reading("dialysate_temperature_c"),
        "no temperature of the dialysis fluid was noted",
    ),
    # Water
    "chlorine": by_number(
        check("chlorine", value=0.11, passed=False, overruled=True, reason="tested again"),
        "Total chlorine 0.11 mg/L on 2 Mar, over the limit of 0.1 mg/L. The treatment was begun all the same. "
        "Noted with it: “tested again”.",
        check("chlorine", value=0.04),
        {"checks": USUAL_CHECKS[1:]},
        "no chlorine test was noted",
    ),
    "water_quality": Case(
        around(water=[water(100)]),
        "Bacterial culture 100 CFU/mL in water for dialysis, product water, at the machine, sampled on 2 Mar: "
        "at the limit of 100 CFU/mL, which counts as over.",
        around(water=[water(49)]),
        around(water=[water(0.1, kind="endotoxin", fluid="ultrapure_water", coarse=True)]),
        "the unit's standard has no figure for ultrapure water, or the method is coarse",
    ),
    "water_overdue": overdue(
        "bacteria", date(2026, 3, 19), "Water culture, due on 19 Mar: not noted since.",
        date(2026, 3, 20), "no water treatment at home is noted",
    ),
    "after_infection": Case(
        around(due=[Due("retraining", date(2026, 3, 19), True, said=("infection", {"day": "2026-03-19"}))]),
        "Needling and care of the access, after an infection, due on 19 Mar: not noted since. "
        "The access was infected from 19 Mar 2026 on.",
        around(due=[Due("access_exam", date(2026, 3, 20), False)]),
        around(),
        "no infection of the access and no regular examination is noted",
    ),
    # Bloods
    "potassium_call": blood(
        Analyte.POTASSIUM, 6.5, "Potassium 6.5 mmol/L on 2 Mar, over the limit of 6.5 mmol/L.", 6.4
    ),
    "potassium": blood(
        Analyte.POTASSIUM, 5.6, "Potassium 5.6 mmol/L on 2 Mar, over the limit of 5.5 mmol/L, 2 results in a row.", 5.5,
        twice=True,
    ),
    "bicarbonate": blood(
        Analyte.BICARBONATE, 19, "Bicarbonate 19 mmol/L on 2 Mar, under the limit of 20 mmol/L.", 20
    ),
    "calcium": Case(
        lambda: history(night(), bloods=[result(Analyte.CALCIUM, 2.36), result(Analyte.ALBUMIN, 30)]),
        "Calcium, corrected by albumin, 2.56 mmol/L on 2 Mar, over the limit of 2.55 mmol/L.",
        lambda: history(night(), bloods=[result(Analyte.CALCIUM, 2.05), result(Analyte.ALBUMIN, 30)]),
        lambda: history(night(), bloods=[result(Analyte.CALCIUM, 2.6, timing="post")]),
        "no calcium of the last three months is there",
        at=A_NIGHT + timedelta(days=5),
    ),
    "phosphate": blood(
        Analyte.PHOSPHATE, 1.46, "Phosphate 1.46 mmol/L on 2 Mar, over the limit of 1.45 mmol/L, 2 results in a row.",
        1.45, twice=True,
    ),
    "pth": blood(
        Analyte.PTH, 65, "Parathyroid hormone 65 pmol/L on 2 Mar, over the limit of 64 pmol/L, 2 results in a row.", 64,
        twice=True,
    ),
    "ferritin": blood(
        Analyte.FERRITIN, 15, "Ferritin 15 µg/L on 2 Mar, under the limit of 200 µg/L, 2 results in a row.", 200,
        twice=True,
    ),
    "saturation": blood(
        Analyte.TRANSFERRIN_SATURATION, 6,
        "Transferrin saturation 6 % on 2 Mar, under the limit of 20 %, 2 results in a row.", 20, twice=True,
    ),
    "albumin": blood(Analyte.ALBUMIN, 34, "Albumin 34 g/L on 2 Mar, under the limit of 35 g/L.", 35),
    "haemoglobin": blood(
        Analyte.HAEMOGLOBIN, 99, "Haemoglobin 99 g/L on 2 Mar, under the limit of 100 g/L.", 100
    ),
    "bloods_overdue": overdue(
        "bloods", date(2026, 3, 12), "Bloods: monthly, due on 12 Mar: not noted since.",
        date(2026, 3, 13), "neither a panel of bloods nor a urine collection is set", of="monthly",
    ),
    # Records and what stands around them
    "missing": Case(
        lambda: history(night(0), night(1)),
        "No record of a treatment that was due on 6 Mar.",
        lambda: history(night(0), night(1), night(2)),
        lambda: history(night(0), prescriptions=[]),
        "no prescription says when treatments are due",
        at=A_NIGHT + timedelta(days=5, hours=12),
    ),
    "left_out": Case(
        lambda: history(night(0), left_out=[said_left_out(night(0), "ill", days=2)]),
        "No treatment on 4 Mar, as the patient said: ill.",
        lambda: history(night(0), night(1), left_out=[said_left_out(night(1), "ill")]),
        lambda: history(night(0), prescriptions=[]),
        "no prescription says when treatments are due",
        at=A_NIGHT + timedelta(days=3),
    ),
    "power_or_water": Case(
        nights({"events": ["water_failure"]}),
        "Power or water failed on 2 Mar, as the patient wrote.",
        nights({}),
        nights({"finished": False}),
        "the record is still being filled in",
    ),
    "late": by_number(
        {"late": timedelta(hours=73)},
        "Record handed over after 73 h at worst, in 2 treatments from 2 Mar to 4 Mar, over the limit of 72 h.",
        {"late": timedelta(hours=72)},
        {"minutes": None},
        "the end of the treatment was not noted",
        times=2,
    ),
    "unfinished": Case(
        once({"finished": False}),
        "A record was begun and not handed over on 2 Mar.",
        lambda: history(night(8, finished=False)),
        lambda: history(),
        "no record has come in this time",
        at=A_NIGHT + timedelta(days=17, hours=12),
    ),
    "check_failed": by_number(
        check("chlorine", passed=False, overruled=True, reason="tested again"),
        "A check failed and the treatment was begun on 2 Mar: Total chlorine, overruled: tested again.",
        {"checks": [USUAL_CHECKS[0] | {"value": 0.2, "passed": False}, *USUAL_CHECKS]},
        {"checks": []},
        "no check was noted",
    ),
    "not_acknowledged": Case(
        lambda: history(night(), around=Surroundings(), prescriptions=changed()),
        "Prescription 2, in force since 2 Mar, was not acknowledged at the bedside.",
        lambda: history(night(), around=Surroundings(acknowledged=frozenset({2})), prescriptions=changed()),
        lambda: history(night(prescription_version=None), around=Surroundings(), prescriptions=changed()),
        "the records do not say which prescription the phone had",
    ),
    "supplies": Case(
        around(stock=[stock(13)]),
        "Dialysers for 13 days where 14 are wanted.",
        around(stock=[stock(14)]),
        around(stock=[stock(None)]),
        "Dialysers: never counted",
    ),
    "training_overdue": overdue(
        "training", date(2026, 3, 19), "Training: needles, due on 19 Mar: not noted since.",
        date(2026, 3, 20), "no training with a day to repeat is noted", of="needles",
    ),
    "care_overdue": overdue(
        "disinfection", date(2026, 3, 19),
        "Disinfection of the machine, due on 19 Mar: not noted since.", date(2026, 3, 20),
        "no machine at home is noted",
    ),
}  # fmt: skip
