"""Does something drift in one patient? One question for venous and arterial pressure, clearance, weight and the rest.

The answer is a `Drift`: yes or no or not known, with every number behind it and a plain sentence. It is trend
information, a reason to examine and to talk; it finds no stenosis, no clot and no lost flesh.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from dosing.science.baseline import Design
from dosing.science.drift import DESIGN, Course, follow, segments
from dosing.science.results import FloatArray
from dosing.science.robust import hodges_lehmann
from dosing.science.trends import TrendEvidence, mann_kendall, theil_sen_slope

Direction = Literal["up", "down", "both"]
_PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Watch:
    """A quantity that is followed: which way it must not drift, and how much it usually scatters from night to night.

    scatter: standard deviation of one person's nights [unit], the value a patient's own is shrunk to while nights are
    few; source: of it; decimals: as shown.
    """

    label: str
    unit: str
    direction: Direction
    scatter: float
    source: str
    decimals: int = 0


VENOUS_PRESSURE = Watch("venous pressure", "mmHg", "up", 12.0, f"10 to 15 mmHg at one flow: {_PRACTICE}")
ARTERIAL_PRESSURE = Watch("arterial pressure", "mmHg", "down", 12.0, _PRACTICE)
CLEARANCE = Watch("clearance", "mL/min", "down", 9.0, f"5 % of 180 mL/min: {_PRACTICE}")
POST_WEIGHT = Watch("weight after", "kg", "both", 0.3, _PRACTICE, decimals=1)
SYSTOLIC = Watch("systolic pressure", "mmHg", "both", 14.0, "9.9 % of 145: HEMO, J Hum Hypertens 2014;28:18 (abstract)")
BLEEDING_TIME = Watch("bleeding time", "min", "up", 3.0, _PRACTICE)
TRANSMEMBRANE_PRESSURE = Watch("transmembrane pressure", "mmHg", "up", 10.0, _PRACTICE)


@dataclass(frozen=True, slots=True)
class Drift:
    """What is known of one quantity of one patient on the last night with a value. NaN where `why` gives a reason.

    direction: "up" or "down" where it drifts, else "". baseline: the usual; now: the middle of the newest nights;
    shift: their difference; scatter: of one night; all in the watch's unit, at `conditions`. correlation: of one night
    with the next. slope_per_week, trend: Theil-Sen and Mann-Kendall over the newest `of` nights. cusum, average: the
    two charts in the watched direction [standard deviations], each with its limit. since: day on which the run began;
    weeks: from then to the last night. beyond: how many of the newest `of` nights lie on that side of the usual.
    nights: how many made the baseline.
    """

    watch: Watch
    direction: str = ""
    baseline: float = math.nan
    now: float = math.nan
    shift: float = math.nan
    scatter: float = math.nan
    correlation: float = math.nan
    slope_per_week: float = math.nan
    trend: TrendEvidence | None = None
    cusum: float = math.nan
    cusum_limit: float = math.nan
    average: float = math.nan
    average_limit: float = math.nan
    since: float = math.nan
    weeks: float = math.nan
    beyond: int = 0
    of: int = 0
    nights: int = 0
    conditions: str = ""
    why: str = ""

    @property
    def known(self) -> bool:
        return not self.why

    @property
    def drifting(self) -> bool:
        return self.direction != ""

    @property
    def sentence(self) -> str:
        """In words, for a page: "up 28 mmHg at 200 mL/min over 5 weeks, 18 of the last 20 nights above ..."."""
        if self.why:
            return f"{self.watch.label} not judged: {self.why}"
        where = f" {self.conditions}" if self.conditions else ""
        if not self.drifting:
            usual = f"{self.baseline:.{self.watch.decimals}f} {self.watch.unit}{where}"
            return f"{self.watch.label} as usual: {usual} over {self.nights} earlier nights"
        amount = f"{abs(self.shift):.{self.watch.decimals}f} {self.watch.unit}{where}{_span(self.weeks)}"
        side = "above" if self.direction == "up" else "below"
        share = f"{self.beyond} of the last {self.of} nights {side} the earlier middle"
        return f"{self.watch.label} {self.direction} {amount}, {share}"


def _span(weeks: float) -> str:
    if math.isnan(weeks):
        return ""
    if weeks >= 2:
        return f" over {weeks:.0f} weeks"
    days = round(7 * weeks)
    return " over 1 day" if days == 1 else f" over {days} days"


def judge(
    *,
    watch: Watch,
    values: ArrayLike,
    days: ArrayLike,
    expected: ArrayLike = 0.0,
    segment: ArrayLike = 0,
    conditions: str = "",
    design: Design = DESIGN,
) -> Drift:
    """Whether one series drifts, judged on its last night with a value.

    values: (nights,) [unit of the watch], NaN where missed or unusable. days: when [d], any origin, any order; nights
    of one day keep the order given. expected, segment: as in `drift.follow`, one for each night or one for all, and
    put in order with them. conditions: where the levels hold, in words. Raises ValueError where the shapes differ or a
    day is no number. Sources: `sequential`, `robust`, `trends`.
    """
    x, day, change = _in_one_shape(values, days, expected)
    label = np.broadcast_to(np.asarray(segment), x.shape)
    order = np.argsort(day, kind="stable")
    x, day, change = x[order], day[order], change[order]
    number = segments(label[order])
    two_sided = watch.direction == "both"
    course = follow(
        values=x,
        usual_scatter=watch.scatter,
        expected=change,
        segment=number,
        two_sided=two_sided,
        only_last=True,
        design=design,
    )
    usable = np.flatnonzero(np.isfinite(x) & np.isfinite(change))
    if not usable.size:
        return Drift(watch, conditions=conditions, why="no night has a usable value")
    last = usable[-1]
    nights = usable[number[usable] == number[last]]
    if np.isnan(course.level[0, last]):
        return Drift(watch, conditions=conditions, why=_too_few(nights.size, design, changed=bool(number[last])))
    comparable = x - course.factor[0, last] * change
    chart = _at_night(watch, course, last, day, conditions)
    return _with_evidence(chart, comparable[nights], day[nights], design)


def _in_one_shape(values: ArrayLike, days: ArrayLike, expected: ArrayLike) -> list[FloatArray]:
    x = np.asarray(values, dtype=np.float64)
    day = np.asarray(days, dtype=np.float64)
    if x.ndim != 1 or day.shape != x.shape:
        raise ValueError(f"values and days are lists of one length, not of shapes {x.shape} and {day.shape}")
    bad = np.flatnonzero(~np.isfinite(day))
    if bad.size:
        raise ValueError(f"day {bad[0]} is not a number: {day[bad[0]]}")
    return [x, day, np.broadcast_to(np.asarray(expected, dtype=np.float64), x.shape)]


def _too_few(nights: int, design: Design, *, changed: bool) -> str:
    since = " since the last change" if changed else ""
    return f"{nights} nights{since}, {design.judged_from(design.first)} are needed"


def _at_night(watch: Watch, course: Course, place: int, days: FloatArray, conditions: str) -> Drift:
    """The charts on one night in the watched direction, or in that of the two which they lean to."""
    at = {name: float(getattr(course, name)[0, place]) for name in Course.__dataclass_fields__}
    ways = {"up": (1, "rise"), "down": (-1, "fall")}
    watched = [watch.direction] if watch.direction in ways else list(ways)

    def reach(way: str) -> float:
        sign, cusum = ways[way]
        return max(at[cusum] / at["cusum_limit"], sign * at["average"] / at["average_limit"])

    way = max(watched, key=reach)
    sign, cusum = ways[way]
    since = float(days[int(at[f"{cusum}_since"])]) if at[cusum] > 0 else math.nan
    return Drift(
        watch,
        direction=way,
        baseline=at["level"],
        scatter=at["scatter"],
        correlation=at["correlation"],
        cusum=at[cusum],
        cusum_limit=at["cusum_limit"],
        average=sign * at["average"],
        average_limit=at["average_limit"],
        since=since,
        weeks=(float(days[place]) - since) / 7,
        nights=int(at["reference_nights"]),
        conditions=conditions,
    )


def _with_evidence(chart: Drift, values: FloatArray, days: FloatArray, design: Design) -> Drift:
    """Add what the newest nights show; values, days: of the nights of the segment that have a value."""
    newest, when = values[-design.window :], days[-design.window :]
    now = float(hodges_lehmann(values[-design.present :]))
    shift = now - chart.baseline
    sign = 1 if chart.direction == "up" else -1
    beyond = chart.cusum > chart.cusum_limit or chart.average > chart.average_limit
    slope = theil_sen_slope(times=when / 7, values=newest, unit=f"{chart.watch.unit}/wk").number
    return replace(
        chart,
        # A run that is over, the newest nights back at the usual, is no drift although its sum is still high.
        direction=chart.direction if beyond and sign * shift > 0 else "",
        now=now,
        shift=shift,
        slope_per_week=math.nan if slope is None else slope,
        trend=mann_kendall(values=newest),
        beyond=int((sign * (newest - chart.baseline) > 0).sum()),
        of=newest.size,
    )
