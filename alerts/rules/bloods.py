"""Bloods: potassium and the monthly set against their limits, and panels that are overdue. Samples before treatment."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import date, datetime, timedelta
from typing import NamedTuple

from django.utils.translation import gettext, ngettext_lazy
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.limits.book import LimitInForce
from alerts.models.choices import Family, Urgency
from alerts.rules.base import EACH_TIME, Evidence, History, NotJudged, Remark, Rule, Seen
from alerts.rules.duties import overdue
from alerts.rules.evidence_kinds import CORRECTED_CALCIUM, figure_with_unit, label_of_evidence
from alerts.rules.wording import day, later
from dosing.services.results.calcium import corrected
from sessions.facts.choices import BloodBound
from sessions.models import Analyte, BloodResult, SampleTiming

OVER_BOUNDS = frozenset({BloodBound.OVER, BloodBound.AT_LEAST})
UNDER_BOUNDS = frozenset({BloodBound.UNDER, BloodBound.AT_MOST})
SAID = ("bound", "comment")
"""What evidence keeps of a result beside its value, where it is there."""
FORTNIGHT = timedelta(days=14)
QUARTER = timedelta(days=90)
RISES = {Urgency.THIS_WEEK: timedelta(days=1), Urgency.AT_REVIEW: timedelta(days=7)}
"""After how long bloods that nobody has looked at become more urgent (common practice, no source)."""


def _results(history: History, analyte: Analyte) -> list[BloodResult]:
    """Before a treatment or apart from one: after it they are another thing."""
    return [row for row in history.bloods if row.analyte == analyte and row.timing != SampleTiming.POST]


class Judged(NamedTuple):
    """What of a result is held against the limits. kind: of evidence; low: whether the lower limit may judge it."""

    value: float
    kind: str
    low: bool = True


Judge = Callable[[History, BloodResult], Judged]
Beyond = tuple[Evidence, LimitInForce]
"""A result beyond its limit, and that limit."""


def as_drawn(history: History, row: BloodResult) -> Judged:
    """The result itself."""
    return Judged(row.value, f"blood.{row.analyte}")


def calcium_corrected(history: History, row: BloodResult) -> Judged:
    """Corrected by the albumin drawn with it, for which its limits are.

    Without an albumin the total stands for itself, and only against the upper limit: a low albumin makes it read low.
    """
    value = corrected(row, history.bloods)
    if value is None:
        return Judged(row.value, f"blood.{row.analyte}", low=False)
    return Judged(round(value, 2), CORRECTED_CALCIUM)


def _broken(
    history: History, row: BloodResult, judged: Judged, low: str, high: str, at_high: bool
) -> LimitInForce | None:
    """The limit that a result is beyond, as it held when the sample was drawn; a bound only on its own side."""
    under = history.limits.at(low, row.drawn_at) if low and judged.low and row.bound not in OVER_BOUNDS else None
    if under and judged.value < under.value:
        return under
    over = history.limits.at(high, row.drawn_at) if high and row.bound not in UNDER_BOUNDS else None
    if over and (judged.value > over.value or (at_high and judged.value == over.value)):
        return over
    return None


def _evidence(history: History, row: BloodResult, judged: Judged, held: LimitInForce) -> Evidence:
    return Evidence(
        kind=judged.kind,
        at=row.drawn_at,
        day=row.drawn_at.astimezone(history.zone).date(),
        value=judged.value,
        limit=held.value,
        record=str(row.treatment_id or ""),
        parts={"unit": held.kind.unit} | {name: said for name in SAID if (said := getattr(row, name))},
    )


def _say(seen: Seen) -> str:
    newest = seen.evidence[-1]
    value, limit = newest.value or 0.0, newest.limit or 0.0
    parts = {
        "what": label_of_evidence(newest),
        "figure": newest.parts.get("bound", "") + figure_with_unit(newest, value),
        "day": day(newest.day),
        "limit": figure_with_unit(newest, limit),
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


def _passed(
    analyte: Analyte, low: str, high: str, at_high: bool, judge: Judge
) -> Callable[[History, date], Remark | None]:
    def passed(history: History, last: date) -> Remark | None:
        rows = _results(history, analyte)
        newest = rows[-1] if rows else None
        judged = judge(history, newest) if newest else None
        if newest is None or newest.bound or judged is None or _broken(history, newest, judged, low, high, at_high):
            return None
        on = newest.drawn_at.astimezone(history.zone).date()
        parts = {"analyte": analyte.value, "value": judged.value, "day": on.isoformat()}
        return Remark("result_inside", parts) if on > last else None

    return passed


def _judged(
    history: History, analyte: Analyte, judge: Judge, low: str, high: str, at_high: bool
) -> Iterator[Beyond | None]:
    """Each result in order: what of it is beyond a limit, and the limit; None where it is inside."""
    for row in _results(history, analyte):
        judged = judge(history, row)
        held = _broken(history, row, judged, low, high, at_high)
        yield (_evidence(history, row, judged, held), held) if held else None


def _in_a_row(results: Iterable[Beyond | None], count: int) -> list[Beyond]:
    """Those beyond that stand beside so many others."""
    found: list[Beyond] = []
    run: list[Beyond] = []
    for result in results:
        run = [*run, result] if result else []
        found += run if len(run) == count else run[-1:] if len(run) > count else []
    return found


def _pressing(history: History, result: Beyond, soon: str) -> bool:
    """Whether a result is so high that it is for this week, by itself."""
    item, _held = result
    return (item.value or 0.0) >= history.limits.at(soon, item.at).value


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
    judge: Judge = as_drawn,
    soon: str = "",
    in_a_row: int = 1,
    joins: tuple[str, ...] = (),
    rests: timedelta = QUARTER,
    may_be_muted: bool = True,
) -> Rule:
    """A rule over one analyte between two limits; with `at_high` the upper limit itself counts.

    judge: what of a result is held against them, where it is not the result itself; soon: the limit from which the
    newest result is for this week, by itself; in_a_row: otherwise so many neighbouring results must be beyond. rests:
    as in `Rule`; the month's review judges each result meanwhile. What nobody looks at rises.
    """

    def see(history: History, at: datetime) -> Iterator[Seen]:
        results = list(_judged(history, analyte, judge, low, high, at_high))
        pressing = bool(soon and results and results[-1] and _pressing(history, results[-1], soon))
        beyond = _in_a_row(results, in_a_row) or [each for each in results[-1:] if each and pressing]
        if beyond:
            urgent, once = (Urgency.THIS_WEEK, 1) if pressing else (None, None)
            yield Seen(key, tuple(item for item, _held in beyond), beyond[-1][1], urgency=urgent, nights=once)

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
        limits=tuple(name for name in (low, high, soon) if name),
        rises=RISES,
        nights=in_a_row,
        rests=rests,
        holds=EACH_TIME if in_a_row == 1 else _("on 2 results in a row"),
        joins=joins,
        looks_back=looks_back,
        over=_("when the next result is inside"),
        passed=_passed(analyte, low, high, at_high, judge),
        not_judged=not_judged,
        reasons={"no_result": later(lambda: gettext("no %(analyte)s of the last three months is there") % lower())},
        part_of=part_of,
        reads=frozenset({"bloods"}),
        may_be_muted=may_be_muted,
    )


POTASSIUM_CALL = blood(
    "potassium_call",
    Analyte.POTASSIUM,
    low="potassium_call_low",
    high="potassium_call_high",
    at_high=True,
    urgency=Urgency.CALL_TODAY,
    looks_back=FORTNIGHT,
    rests=timedelta(0),
    title=_("Potassium dangerous"),
    may_be_muted=False,
)
POTASSIUM = blood(
    "potassium",
    Analyte.POTASSIUM,
    low="potassium_low",
    high="potassium_high",
    soon="potassium_soon",
    in_a_row=2,
    rests=timedelta(0),
    part_of=("potassium_call",),
    joins=("potassium_call",),
)
BICARBONATE = blood("bicarbonate", Analyte.BICARBONATE, low="bicarbonate_low", high="bicarbonate_high")
CALCIUM = blood("calcium", Analyte.CALCIUM, low="calcium_low", high="calcium_high", judge=calcium_corrected)
# Phosphate and parathyroid hormone on two results in a row: KDIGO 2017 has them judged by trends and not by a single
# value (3.1.4, from memory); iron, and a potassium a little off, the same way (common practice, no source). The month's
# review marks each single one.
PHOSPHATE = blood("phosphate", Analyte.PHOSPHATE, low="phosphate_low", high="phosphate_high", in_a_row=2)
ALBUMIN = blood("albumin", Analyte.ALBUMIN, low="albumin_low")
HAEMOGLOBIN = blood("haemoglobin", Analyte.HAEMOGLOBIN, low="haemoglobin_low", high="haemoglobin_high")
FERRITIN = blood("ferritin", Analyte.FERRITIN, low="ferritin_low", high="ferritin_high", in_a_row=2)
SATURATION = blood(
    "saturation", Analyte.TRANSFERRIN_SATURATION, low="saturation_low", high="saturation_high", in_a_row=2
)
PARATHYROID = blood("pth", Analyte.PTH, low="pth_low", high="pth_high", in_a_row=2)

PANELS = frozenset({"bloods", "urine"})
OVERDUE = overdue(
    "bloods_overdue",
    kinds=PANELS,
    limit="bloods_days",
    title=_("Bloods or urine collection overdue"),
    about=_("bloods and urine that are due"),
    family=Family.BLOODS,
    urgency=Urgency.THIS_WEEK,
    unset=_("neither a panel of bloods nor a urine collection is set"),
    at_once=True,
)

RULES = (
    POTASSIUM_CALL,
    POTASSIUM,
    BICARBONATE,
    CALCIUM,
    PHOSPHATE,
    PARATHYROID,
    ALBUMIN,
    HAEMOGLOBIN,
    FERRITIN,
    SATURATION,
    OVERDUE,
)
