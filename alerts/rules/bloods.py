"""Bloods: potassium and the monthly set against their limits, and panels that are overdue. Samples before treatment."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta

from django.utils.translation import gettext, ngettext_lazy
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.limits.book import LimitInForce
from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, NotJudged, Remark, Rule, Seen
from alerts.rules.duties import overdue
from alerts.rules.evidence_kinds import label_of_evidence, unit_of
from alerts.rules.wording import day, figure, later
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
        kind=f"blood.{analyte.value}",
        at=row.drawn_at,
        day=row.drawn_at.astimezone(history.zone).date(),
        value=row.value,
        limit=held.value,
        record=str(row.treatment_id or ""),
        parts={"unit": held.kind.unit},
    )


def _say(seen: Seen) -> str:
    newest = seen.evidence[-1]
    value, limit = newest.value or 0.0, newest.limit or 0.0
    parts = {
        "what": label_of_evidence(newest),
        "figure": figure(value, unit=unit_of(newest)),
        "day": day(newest.day),
        "limit": figure(limit, unit=unit_of(newest)),
        "count": len(seen.evidence),
    }
    return str((OVER if value >= limit else UNDER) % parts)


OVER = ngettext_lazy(
    "%(what)s %(figure)s on %(day)s, over the limit of %(limit)s.",
    "%(what)s %(figure)s on %(day)s, over the limit of %(limit)s, %(count)d results in a row.",
    "count",
)
UNDER = ngettext_lazy(
    "%(what)s %(figure)s on %(day)s, under the limit of %(limit)s.",
    "%(what)s %(figure)s on %(day)s, under the limit of %(limit)s, %(count)d results in a row.",
    "count",
)


def _passed(analyte: Analyte, low: str, high: str, at_high: bool) -> Callable[[History, date], Remark | None]:
    def passed(history: History, last: date) -> Remark | None:
        rows = _results(history, analyte)
        newest = rows[-1] if rows else None
        if newest is None or _broken(history, newest, low, high, at_high):
            return None
        on = newest.drawn_at.astimezone(history.zone).date()
        parts = {"analyte": analyte.value, "value": newest.value, "day": on.isoformat()}
        return Remark("result_inside", parts) if on > last else None

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
    title: StrOrPromise | None = None,
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
            yield NotJudged(None, Remark("no_result"))

    def lower() -> dict[str, str]:
        return {"analyte": str(analyte.label).lower()}

    own = later(lambda: gettext("%(analyte)s outside its limits") % {"analyte": analyte.label})
    call = later(lambda: gettext("%(analyte)s, to call for") % lower())
    return Rule(
        key=key,
        title=own if title is None else title,
        about=call if urgency == Urgency.CALL_TODAY else later(lambda: lower()["analyte"]),
        family=Family.BLOODS,
        urgency=urgency,
        see=see,
        say=_say,
        limits=tuple(name for name in (low, high) if name),
        looks_back=looks_back,
        over=_("when the next result is inside"),
        passed=_passed(analyte, low, high, at_high),
        not_judged=not_judged,
        reasons={"no_result": later(lambda: gettext("no %(analyte)s of the last three months is there") % lower())},
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
    title=_("Potassium dangerous"),
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
    title=_("Bloods overdue"),
    about=_("bloods that are due"),
    family=Family.BLOODS,
    urgency=Urgency.THIS_WEEK,
    unset=_("no panel of bloods is set"),
)

RULES = (POTASSIUM_CALL, POTASSIUM, BICARBONATE, CALCIUM, PHOSPHATE, ALBUMIN, HAEMOGLOBIN, OVERDUE)
