"""Bloods: potassium and the monthly set against their limits, and panels that are overdue. Samples before treatment."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta

from alerts.limits.book import LimitInForce
from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, NotJudged, Rule, Seen
from alerts.rules.duties import not_around, overdue
from alerts.rules.wording import day
from sessions.models import Analyte, BloodResult, SampleTiming

FORTNIGHT = timedelta(days=14)
QUARTER = timedelta(days=90)


def _results(history: History, analyte: Analyte) -> list[BloodResult]:
    """Before a treatment or apart from one: after it they are another thing."""
    return [row for row in history.bloods if row.analyte == analyte and row.timing != SampleTiming.POST]


def _broken(history: History, row: BloodResult, low: str, high: str, at_high: bool) -> LimitInForce | None:
    """The limit that a result is beyond, as it held when the sample was drawn."""
    under = history.limits.at(low, row.drawn_at) if low else None
    if under and row.value < under.value:
        return under
    over = history.limits.at(high, row.drawn_at) if high else None
    if over and (row.value > over.value or (at_high and row.value == over.value)):
        return over
    return None


def _evidence(history: History, row: BloodResult, held: LimitInForce, analyte: Analyte) -> Evidence:
    return Evidence(
        row.drawn_at,
        row.drawn_at.astimezone(history.zone).date(),
        str(analyte.label),
        row.value,
        held.kind.unit,
        held.value,
        record=str(row.treatment_id or ""),
    )


def _say(seen: Seen) -> str:
    newest = seen.evidence[-1]
    assert newest.value is not None
    assert newest.limit is not None
    side = "over" if newest.value >= newest.limit else "under"
    more = f", {len(seen.evidence)} results in a row" if len(seen.evidence) > 1 else ""
    words = f"{newest.limit:g} {newest.unit}"
    return f"{newest.label} {newest.value:g} {newest.unit} on {day(newest.day)}, {side} the limit of {words}{more}."


def _passed(analyte: Analyte, low: str, high: str, at_high: bool) -> Callable[[History, date], str]:
    def passed(history: History, last: date) -> str:
        rows = _results(history, analyte)
        newest = rows[-1] if rows else None
        if newest is None or _broken(history, newest, low, high, at_high):
            return ""
        on = newest.drawn_at.astimezone(history.zone).date()
        return f"{analyte.label} {newest.value:g} on {day(on)}, inside the limit." if on > last else ""

    return passed


def blood(
    key: str,
    analyte: Analyte,
    *,
    low: str = "",
    high: str = "",
    urgency: Urgency = Urgency.AT_REVIEW,
    at_high: bool = False,
    looks_back: timedelta = QUARTER,
    part_of: tuple[str, ...] = (),
    title: str = "",
) -> Rule:
    """A rule over one analyte between two limits; with `at_high` the upper limit itself counts."""

    def see(history: History, at: datetime) -> Iterator[Seen]:
        beyond: list[tuple[BloodResult, LimitInForce]] = []
        for row in _results(history, analyte):
            held = _broken(history, row, low, high, at_high)
            beyond = [*beyond, (row, held)] if held else beyond
        if beyond:
            evidence = tuple(_evidence(history, row, held, analyte) for row, held in beyond)
            yield Seen(key, evidence, beyond[-1][1])

    def not_judged(history: History) -> Iterator[NotJudged]:
        if not _results(history, analyte):
            yield NotJudged(None, f"no {str(analyte.label).lower()} of the last three months is there")

    return Rule(
        key=key,
        title=title or f"{analyte.label} outside its limits",
        about=str(analyte.label).lower() + (", to call for" if urgency == Urgency.CALL_TODAY else ""),
        family=Family.BLOODS,
        urgency=urgency,
        see=see,
        say=_say,
        limits=tuple(name for name in (low, high) if name),
        looks_back=looks_back,
        over="when the next result is inside",
        passed=_passed(analyte, low, high, at_high),
        not_judged=not_judged,
        part_of=part_of,
        reads=frozenset({"bloods"}),
    )


POTASSIUM_CALL = blood(
    "potassium_call",
    Analyte.POTASSIUM,
    low="potassium_call_low",
    high="potassium_call_high",
    at_high=True,
    urgency=Urgency.CALL_TODAY,
    looks_back=FORTNIGHT,
    title="Potassium dangerous",
)
POTASSIUM = blood(
    "potassium", Analyte.POTASSIUM, low="potassium_low", high="potassium_high", part_of=("potassium_call",)
)
BICARBONATE = blood("bicarbonate", Analyte.BICARBONATE, low="bicarbonate_low", high="bicarbonate_high")
CALCIUM = blood("calcium", Analyte.CALCIUM, low="calcium_low", high="calcium_high")
PHOSPHATE = blood("phosphate", Analyte.PHOSPHATE, low="phosphate_low", high="phosphate_high")
ALBUMIN = blood("albumin", Analyte.ALBUMIN, low="albumin_low")
HAEMOGLOBIN = blood("haemoglobin", Analyte.HAEMOGLOBIN, low="haemoglobin_low", high="haemoglobin_high")

PANELS = frozenset({"bloods"})
OVERDUE = overdue(
    "bloods_overdue",
    kinds=PANELS,
    limit="bloods_days",
    title="Bloods overdue",
    about="bloods that are due",
    family=Family.BLOODS,
    urgency=Urgency.THIS_WEEK,
    unknown=lambda history: not_around(history, PANELS, "no panel of bloods is set"),
)

RULES = (POTASSIUM_CALL, POTASSIUM, BICARBONATE, CALCIUM, PHOSPHATE, ALBUMIN, HAEMOGLOBIN, OVERDUE)
