"""What Python makes of numbers, times and evenings: tables that the bedside's scripts are held against."""

from __future__ import annotations

import random
import statistics
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any, cast
from zoneinfo import ZoneInfo

from django.template.defaultfilters import floatformat

from dosing.services.course.rows import ReadRow
from dosing.services.course.treatments import fluid_of
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.inputs import NightFacts
from homedialysis.accounts.models import Unit
from homedialysis.accounts.services.opening import closes_next, looked_at_next, opens_next
from homedialysis.accounts.services.units import Dates, Spoken, speaking
from sessions.facts import plausible
from sessions.models import Reading, TreatmentRecord
from sessions.services.prescription_lines import ASLEEP, FIRST_READING_MINUTES
from tests.tonights_fluid import FluidPlan, plan_fluid

Rows = list[list[Any]]
WAYS = (Dates(), Dates("mdy", "12"), Dates("ymd", "24"))
"""In which a unit writes days and times."""
ZONES = ("Europe/Lisbon", "America/St_Johns", "Australia/Lord_Howe", "Asia/Tokyo", "Pacific/Apia", "UTC")


def all_tables(unit: Unit) -> dict[str, Any]:
    """Every table by its name, as JSON."""
    chance = random.Random(20260301)
    return {
        "rounded": rounded(chance),
        "typed": typed(chance),
        "refused": refused(),
        "odd": odd(),
        "stepped": stepped(chance),
        "walls": {zone: walls(zone) for zone in ZONES},
        "evenings": evenings(chance),
        "taken_off": taken_off(chance),
        "fastest": fastest(chance),
        "readings": {"sleep": ASLEEP, "first": FIRST_READING_MINUTES},
        "floats": [sfloat(bits) for bits in range(1 << 16)],
        "medians": medians(chance),
        "opening": [opening(unit, zone, dates) for zone, dates in zip(ZONES, WAYS, strict=False)],
    }


def rounded(chance: random.Random) -> Rows:
    """[number, decimals, text]: halves that binary numbers hold a little above or below among them."""
    numbers = [0.0, -0.0, 1e-7, 12.0, 99.995, 1e6, -0.04]
    numbers += [chance.randrange(-30000, 30000) / 1000 + chance.choice((0, 0.005, 0.0005)) for _ in range(1500)]
    numbers += [chance.uniform(-300, 300) for _ in range(1500)]
    return [[each, digits, floatformat(each, digits)] for each in numbers for digits in (0, 1, 2, 3)]


def typed(chance: random.Random) -> Rows:
    """[text, number]."""
    texts = ["0", "-0.5", "7.", ".5", "+3", "007", "72.50"]
    texts += [f"{chance.uniform(-999, 999):.{chance.randrange(4)}f}" for _ in range(2000)]
    return [[text, float(Decimal(text))] for text in texts]


def refused() -> Rows:
    """[limits, number, the server's words]: on both limits, one outside them and in the middle."""
    rows: Rows = []
    for limits in plausible.for_scripts().values():
        low, high = limits["hard"]
        rows += [[limits, each, ""] for each in (low, high, (low + high) / 2)]
        rows += [[limits, each, _range(limits).refusal(each)] for each in (low - 1, high + 1)]
    return rows


def _range(limits: dict[str, Any]) -> plausible.Range:
    return plausible.Range(**{name: limits[name] for name in ("label", "unit", "hard", "usual", "step")})


def odd() -> Rows:
    """[limits, number, whether it is unusual]: on both ends of the usual, and a step outside them."""
    rows: Rows = []
    for limits in plausible.for_scripts().values():
        (low, high), step = limits["usual"], limits["step"]
        rows += [[limits, each, False] for each in (low, high)] + [
            [limits, each, True] for each in (low - step, high + step)
        ]
    return rows


def stepped(chance: random.Random) -> Rows:
    """[number, step, count, where it lands]: counted in exact decimals; the number lies on the step's grid."""
    rows: Rows = []
    for _ in range(5000):
        step = Decimal(chance.choice(("0.005", "0.01", "0.05", "0.1", "0.2", "0.5", "1", "5", "10")))
        start, count = step * chance.randrange(-2000, 2000), chance.randrange(-3, 4)
        rows.append([float(start), float(step), count, float(start + count * step)])
    return rows


def walls(zone: str) -> Rows:
    """[moment, wall, the first moment that has this wall]: every 3 h 10 min of a year, with both clock changes."""
    start, place = datetime(2026, 1, 1, tzinfo=UTC), ZoneInfo(zone)
    rows: Rows = []
    for step in range(2800):
        moment = start + timedelta(minutes=190 * step)
        wall = moment.astimezone(place)
        first = wall.replace(fold=0).astimezone(UTC)
        rows.append([_iso(moment), f"{wall:%Y-%m-%dT%H:%M}", _iso(first)])
    return rows


def _iso(moment: datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M:%S}.000Z"


def evenings(chance: random.Random) -> Rows:
    """[evening, plan as it is shown or null]."""
    return [[evening, _shown(_planned(evening))] for evening in (_evening(chance) for _ in range(4000))]


def _evening(chance: random.Random) -> dict[str, float]:
    target = round(chance.uniform(35, 140), chance.choice((0, 1, 2)))
    minutes = float(chance.randrange(90, 600, 5))
    limit = chance.choice((7.5, 8, 10, 12, 13))
    longest = minutes + chance.choice((0, 15, 30, 60, 120))
    on_the_limit = limit * target * chance.choice((minutes, longest)) / 60000
    pre = chance.choice(
        (round(target + chance.uniform(-1, 7), 1), target + on_the_limit, target * chance.choice((0.8, 1.2)))
    )
    rinse = chance.choice((0.0, round(chance.uniform(0, 0.6), 2), chance.randrange(1, 400) / 1000 + 0.005))
    drinks = chance.choice((0.0, round(chance.uniform(0, 1.5), 2), 0.125, 0.505))
    return {
        "pre": pre,
        "target": target,
        "rinse": rinse,
        "drinks": drinks,
        "minutes": minutes,
        "longest": longest,
        "limit": limit,
    }


def _planned(evening: dict[str, float]) -> FluidPlan | None:
    names = ("pre", "target", "rinse", "drinks", "minutes", "longest", "limit")
    return plan_fluid(**{name: evening[name] for name in names})


def _shown(plan: FluidPlan | None) -> list[Any] | None:
    if plan is None:
        return None
    choices = [
        [each.kind, each.minutes, floatformat(each.uf_l, 2), floatformat(each.left_kg, 2), floatformat(each.rate, 1)]
        for each in plan.choices
    ]
    return [floatformat(plan.uf_l, 2), floatformat(plan.rate, 1), plan.over, plan.at_most_over, choices]


def taken_off(chance: random.Random) -> Rows:
    """[document, litres as they are shown or null, the way that is believed or ""]."""
    return [[document, *_believed(document)] for document in (_ended(chance) for _ in range(3000))]


def _ended(chance: random.Random) -> dict[str, Any]:
    """A treatment of which more or less was noted; its last reading lies around nine tenths of its length."""
    start, minutes = datetime(2026, 3, 1, 21, tzinfo=UTC), chance.randrange(60, 600)
    before = round(chance.uniform(35, 140), 1)

    def maybe(value: float) -> float | None:
        return chance.choice((None, round(value, 2)))

    reads = [0.5, chance.choice((0.85, 0.9, 0.95, 1.0))]
    return {
        "started_at": _iso(start),
        "ended_at": chance.choice((None, _iso(start + timedelta(minutes=minutes)))),
        "uf_removed_l": chance.choice((None, None, round(chance.uniform(0, 5), 2))),
        "pre_weight_kg": maybe(before),
        "post_weight_kg": maybe(before - chance.choice((-2, 0, 12, chance.uniform(-1, 4)))),
        "rinse_back_l": maybe(chance.uniform(0, 0.6)),
        "intake_l": maybe(chance.uniform(0, 1.5)),
        "events": [{"saline_l": maybe(0.2)} for _ in range(chance.randrange(3))],
        "readings": [
            {"at": _iso(start + timedelta(minutes=round(minutes * share))), "uf_volume_l": maybe(3 * share)}
            for share in reads
        ],
    }


def _believed(document: dict[str, Any]) -> tuple[str | None, str]:
    record = document | {name: document[name] and _moment(document[name]) for name in ("started_at", "ended_at")}
    readings = [
        ReadRow(at=_moment(each["at"]), qb_ml_min=None, qd_ml_min=None, uf_volume_l=each["uf_volume_l"])
        for each in document["readings"]
    ]
    found = fluid_of(record, readings, sum(each["saline_l"] or 0.0 for each in document["events"]))
    return (None if found.taken_off is None else floatformat(found.taken_off, 2)), found.by or ""


def fastest(chance: random.Random) -> Rows:
    """[document, the fastest rate as it is shown or null]: by the unit's own inputs and equation."""
    rows: Rows = []
    for _ in range(1500):
        length = chance.randrange(60, 600)
        document = _ended(chance) | {"post_weight_kg": round(chance.uniform(35, 140), 1)}
        start = _moment(document["started_at"])
        document["ended_at"] = chance.choice((None, _iso(start + timedelta(minutes=length))))
        read = sorted(chance.sample(range(1, length), chance.randrange(6)))
        document["readings"] = [
            {"at": _iso(start + timedelta(minutes=each)), "uf_volume_l": chance.choice((None, chance.random() * 4))}
            for each in read
        ]
        rows.append([document, _fastest(document)])
    return rows


def _fastest(document: dict[str, Any]) -> str | None:
    plain = {name: document[name] for name in ("uf_removed_l", "post_weight_kg")}
    moments = {name: document[name] and _moment(document[name]) for name in ("started_at", "ended_at")}
    readings = [Reading(at=_moment(each["at"]), uf_volume_l=each["uf_volume_l"]) for each in document["readings"]]
    night = SimpleNamespace(record=TreatmentRecord(**plain, **moments), readings=readings)
    found = NIGHT_NUMBERS["uf_rate_fastest"].ask(cast("NightFacts", night)).answer.number
    return None if found is None else floatformat(found, 1)


def _moment(iso: str) -> datetime:
    return datetime.fromisoformat(iso)


def sfloat(bits: int) -> float | None:
    """IEEE 11073-20601, SFLOAT-Type: four bits of exponent, twelve of mantissa; None for what is no number."""
    exponent, mantissa = bits >> 12, bits & 0xFFF
    exponent, mantissa = (
        (exponent - 16 if exponent > 7 else exponent),
        (mantissa - 4096 if mantissa > 2047 else mantissa),
    )
    return None if abs(mantissa) > 2045 else float(Decimal(mantissa).scaleb(exponent))


def medians(chance: random.Random) -> Rows:
    lists = [[chance.randrange(-500, 500) for _ in range(chance.randrange(1, 12))] for _ in range(1000)]
    return [[each, statistics.median(each)] for each in lists]


def opening(unit: Unit, zone: str, dates: Dates) -> dict[str, Any]:
    """What the server says at moments of three weeks, over the night of 29 March on which Europe's clocks change."""
    for day in (20, 23, 24):  # a long weekend, which the weekend alone does not end
        unit.closed_days.get_or_create(day=datetime(2026, 3, day, tzinfo=UTC).date(), name="holiday")
    closed = [each.day.isoformat() for each in unit.closed_days.all()]
    start = datetime(2026, 3, 18, tzinfo=UTC)
    moments = [start + timedelta(minutes=317 * step) for step in range(100)]
    first = opens_next(unit, start)
    assert first is not None
    closing = closes_next(unit, first)
    assert closing is not None
    moments += [edge + timedelta(seconds=after) for edge in (first, closing) for after in (-1, 0, 1)]
    hours = [
        {"weekday": each.weekday, "opens": f"{each.opens:%H:%M}", "closes": f"{each.closes:%H:%M}"}
        for each in unit.opening_hours.all()
    ]
    with speaking(Spoken(dates=dates)):
        told = [[_iso(each), looked_at_next(unit, each, zone=ZoneInfo(zone))] for each in moments]
    numbers = {"on_call_number": unit.on_call_number, "emergency_number": unit.emergency_number}
    return {
        "zone": zone,
        "unit": {"time_zone": unit.time_zone, "opening_hours": hours, "closed_days": closed}
        | numbers
        | {"dates": {"order": dates.order, "clock": dates.clock}},
        "told": told,
    }
