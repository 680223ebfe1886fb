"""Slow drifts within one patient: whether there is one, since when, how large, how steep, how sure.

`judge` answers for any quantity with a `Verdict`: every number behind it. What decides are the
charts of `drift`, whose false alarms are designed. Slope and rank evidence stand beside them: a few outliers or a
missed night move these little, but neighbouring nights resemble each other, which makes rank evidence look stronger
than it is (Hamed and Rao, J Hydrol 1998;204:182, from memory), so it never decides alone.

A verdict is a reason to examine and to talk; it finds no stenosis, no clot and no lost flesh.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from dosing.science.drift import ALOUD, DESIGN, Course, follow
from dosing.science.reasons import Reason
from dosing.science.results import FloatArray, Measure, as_float, measure, unknown
from dosing.science.robust import hodges_lehmann
from dosing.science.usual import Design, Mask

FEWEST = 3
"""Points under which neither a slope nor evidence of a trend is given."""
PRESENT = 5
"""Nights whose middle is "now"."""
WINDOW = 20
"""Nights of which those beyond the earlier middle are counted, and over which slope and rank evidence are taken."""
Direction = Literal["up", "down", "both"]
State = Literal["unknown", "usual", "drifting", "passed"]
SIGNS: dict[Direction, tuple[int, ...]] = {"up": (1,), "down": (-1,), "both": (1, -1)}
_PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Watch:
    """A quantity that is followed: which way it must not drift, and how much it usually scatters from night to night.

    scatter: standard deviation of one person's nights [unit], the value a patient's own is shrunk to while nights are
    few; source: of it; decimals: as shown; run_length: nights without a change that the evidence of a drift lasts on
    average until a false signal, in a patient whose scatter is known. Chosen on simulated patients for 0.03 false
    alerts a patient-month: where scatter and wild nights differ between patients more are needed than where not.
    memory, least_scatter: as in `usual.Design`: short where levels wander by themselves, one of counts and scores of a
    few steps, whose scatter no patient's own goes below.
    """

    unit: str
    direction: Direction
    scatter: float
    source: str
    decimals: int = 0
    run_length: float = 2000.0
    memory: float = DESIGN.memory
    least_scatter: float = DESIGN.least_scatter


WANDERS = 20.0
"""Nights of memory of a level that wanders by season, hydration or habit: chosen on simulated patients, see
`tests/benchmarks/alert_quality.py`. With 100 a wander of 4 mmHg makes twice as many false alerts; at the same rate
of them a rise is found half a night earlier with 20, and a slow one is missed more often."""
VENOUS_PRESSURE = Watch(
    "mmHg", "up", 12.0, f"10 to 15 mmHg at one flow: {_PRACTICE}", run_length=1300.0, memory=WANDERS
)
ARTERIAL_PRESSURE = Watch("mmHg", "down", 12.0, _PRACTICE, memory=WANDERS)
CLEARANCE = Watch("mL/min", "down", 9.0, f"5 % of 180 mL/min: {_PRACTICE}", memory=WANDERS)
POST_WEIGHT = Watch("kg", "both", 0.3, _PRACTICE, decimals=1)
SYSTOLIC = Watch("mmHg", "both", 14.0, "9.9 % of 145: HEMO, J Hum Hypertens 2014;28:18 (abstract)")
POST_SYSTOLIC = Watch("mmHg", "both", 14.0, f"as before treatment: {_PRACTICE}")
LOWEST_SYSTOLIC = Watch("mmHg", "down", 14.0, f"as before treatment: {_PRACTICE}")
BLEEDING_TIME = Watch("min", "up", 3.0, _PRACTICE, memory=WANDERS)
TRANSMEMBRANE_PRESSURE = Watch("mmHg", "up", 10.0, _PRACTICE, memory=WANDERS)
ATTEMPTS = Watch("", "up", 0.6, _PRACTICE, decimals=1, least_scatter=1.0)
PAIN = Watch("of 10", "up", 1.5, _PRACTICE, decimals=1, least_scatter=0.6)
FOUND_AT_ACCESS = Watch("%", "up", 40.0, f"0 or 100 a night: {_PRACTICE}", least_scatter=1.0)
FELT = Watch("%", "up", 40.0, f"0 or 100 a night: {_PRACTICE}", least_scatter=1.0)
GAIN = Watch("%", "up", 0.8, _PRACTICE, decimals=1, run_length=4000.0)
LENGTH = Watch("%", "down", 4.0, _PRACTICE, memory=WANDERS)


@dataclass(frozen=True, slots=True)
class CommonCause:
    """Quantities that tell of one cause together, each with the way in which it then moves: 1 up, -1 down.

    run_length, memory: as of a `Watch`, for all of them; chosen on simulated patients.
    """

    signs: Mapping[str, int]
    run_length: float
    memory: float


ACCESS = CommonCause(
    {"venous": 1, "arterial": -1, "clearance": -1, "bleeding": 1, "attempts": 1, "pain": 1, "found": 1},
    run_length=650.0,
    memory=WANDERS,
)
"""An access that narrows, by whatever of it is noted (KDOQI 2019 names these as signs, from memory)."""
TARGET_TOO_HIGH = CommonCause({"systolic": 1, "post_systolic": 1, "post_weight": 1}, run_length=12000.0, memory=100.0)
TARGET_TOO_LOW = CommonCause(
    {"systolic": -1, "post_systolic": -1, "lowest": -1, "felt": 1, "gain": 1}, run_length=12000.0, memory=100.0
)
"""Pressures of one night resemble each other, so that their evidence counts for more than it is: the long runs make
up for that."""


@dataclass(frozen=True, slots=True)
class TrendEvidence:
    """S of Mann and Kendall with its variance under no trend, its standard score z, and the two-sided p.

    why: the reason where there is no answer, and then z and p are NaN; None otherwise.
    """

    s: float
    variance: float
    z: float
    p: float
    why: Reason | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """Lines to draw, one value a night in order of time, NaN where there is none.

    days: when [d]; points: the values at comparable conditions; baseline: the usual as it was known on that night;
    average: the running mean; limit: what the running mean must not pass, one line a watched direction.
    """

    days: FloatArray
    points: FloatArray
    baseline: FloatArray
    average: FloatArray
    limits: tuple[FloatArray, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Verdict:
    """What is known of one quantity of one patient on the last night with a value. NaN where it is not known.

    state: "unknown" (why says why), "usual", "drifting", or "passed": a drift was told since the last change, and is
    over. direction: "up" or "down" where it drifts or did, else the one that the nights lean to. baseline: the usual;
    now: the middle of the newest nights; shift: their difference; scatter: of one night; all in the watch's unit, at
    the blood flow `flow` [mL/min], NaN where levels do not hang on it. correlation: of one night with the next.
    slope_per_week, trend: Theil-Sen and Mann-Kendall over the newest `of` nights. evidence: log of the likelihood
    ratio; cusum, average: charts of that direction [standard deviations]; each with its limit. first_day: on which
    the drift began, told_day: on which it was told, passed_day: on which it was over, last_day: the newest night.
    beyond: how many of the newest `of` nights lie on
    that side of the usual. nights: with a value since the last change.
    """

    watch: Watch
    state: State = "unknown"
    why: Reason | None = None
    direction: str = ""
    baseline: float = math.nan
    now: float = math.nan
    shift: float = math.nan
    scatter: float = math.nan
    correlation: float = math.nan
    slope_per_week: float = math.nan
    trend: TrendEvidence | None = None
    evidence: float = math.nan
    evidence_limit: float = math.nan
    cusum: float = math.nan
    cusum_limit: float = math.nan
    average: float = math.nan
    average_limit: float = math.nan
    first_day: float = math.nan
    told_day: float = math.nan
    passed_day: float = math.nan
    last_day: float = math.nan
    beyond: int = 0
    of: int = 0
    nights: int = 0
    flow: float = math.nan
    chart: Chart | None = field(default=None, repr=False)

    @property
    def weeks(self) -> float:
        """From the night on which the drift began to the newest."""
        return (self.last_day - self.first_day) / 7

    @property
    def known(self) -> bool:
        return self.state != "unknown"

    @property
    def drifting(self) -> bool:
        return self.state == "drifting"


def judge(
    *,
    watches: Sequence[Watch],
    values: ArrayLike,
    days: ArrayLike,
    expected: ArrayLike = 0.0,
    segment: ArrayLike = 0,
    flows: Sequence[float] = (),
    design: Design = DESIGN,
) -> list[Verdict]:
    """Whether each quantity drifts, judged on its last night with a value; one verdict a watch.

    values: (watches, nights) [unit of the watch], NaN where missed or unusable. days: (nights,), when [d], any origin,
    any order; nights of one day keep the order given. expected, segment: as in `drift.follow`, (watches, nights) or
    what broadcasts to it, put in order with the nights. flows: blood flow at which the levels hold [mL/min], one a
    watch, NaN where they do not hang on it.
    Raises ValueError where the shapes differ or a day is no number. Sources: `drift`, `sequential`, `robust`.

    >>> nights = [140, 143, 138, 141, 139, 142, 137, 140, 141, 139, 143, 155, 152, 158, 160, 163, 161, 166, 164, 170]
    >>> (verdict,) = judge(watches=[VENOUS_PRESSURE], values=[nights], days=range(20))
    >>> verdict.state, verdict.direction, round(verdict.shift), round(7 * verdict.weeks), verdict.beyond
    ('drifting', 'up', 25, 9, 16)
    """
    nights = _in_order(watches, values, days, expected, segment)
    # A watch over both directions is followed twice, the second time upside down.
    ways = [(row, sign) for row, watch in enumerate(watches) for sign in SIGNS[watch.direction]]
    rows, signs = np.array([row for row, _ in ways], dtype=np.intp), np.array([sign for _, sign in ways])
    course = follow(
        values=signs[:, None] * nights.values[rows],
        expected=signs[:, None] * nights.expected[rows],
        segment=nights.segment[rows],
        usual_scatter=[watches[row].scatter for row in rows],
        two_sided=[watches[row].direction == "both" for row in rows],
        drift_nights=[watches[row].run_length for row in rows],
        memory=[watches[row].memory for row in rows],
        least_scatter=[watches[row].least_scatter for row in rows],
        design=design,
    )
    places = flows or [math.nan] * len(watches)
    return [
        _verdict(watch, course, _ways_of(row, ways, course), nights.of(row), flow=place, first=design.first)
        for row, (watch, place) in enumerate(zip(watches, places, strict=True))
    ]


@dataclass(frozen=True, slots=True, eq=False)
class JointVerdict:
    """What the quantities of a story say on the last night. signs: a verdict each, in the order given; those that never
    had a value are unknown. speaking: the places of those that speak. drifting: whether the story is told, and at least
    two speak: one alone is told by its own watch.
    """

    signs: tuple[Verdict, ...]
    speaking: tuple[int, ...]
    told: bool

    @property
    def drifting(self) -> bool:
        return self.told and len(self.speaking) > 1


def judge_together(
    *,
    watches: Sequence[Watch],
    ways: Sequence[int],
    causes: Sequence[CommonCause],
    cause_of: Sequence[int],
    values: ArrayLike,
    days: ArrayLike,
    expected: ArrayLike = 0.0,
    segment: ArrayLike = 0,
    flows: Sequence[float] = (),
    design: Design = DESIGN,
) -> list[JointVerdict]:
    """Whether quantities drift together, each its own way (1 up, -1 down); one answer a cause, all in one pass.

    cause_of: the place among the causes that each quantity tells of, those of one beside each other and each cause with
    one at least; see `drift` and `CommonCause`. The rest as in `judge`. Raises ValueError where the shapes differ or a
    day is no number.
    """
    nights = _in_order(watches, values, days, expected, segment)
    signs = np.asarray(ways)
    course = follow(
        values=signs[:, None] * nights.values,
        expected=signs[:, None] * nights.expected,
        segment=nights.segment,
        usual_scatter=[watch.scatter for watch in watches],
        least_scatter=[watch.least_scatter for watch in watches],
        drift_nights=[causes[place].run_length for place in cause_of],
        memory=[causes[place].memory for place in cause_of],
        story=cause_of,
        design=design,
    )
    places = flows or [math.nan] * len(watches)
    verdicts = [
        _verdict(watch, course, [(row, ways[row])], nights.of(row), flow=places[row], first=design.first)
        for row, watch in enumerate(watches)
    ]
    loud = np.asarray(course.voice[:, -1:].max(1, initial=0.0) > ALOUD)
    told = np.asarray(course.told[:, -1:].any(1))
    rows_of = [[row for row, place in enumerate(cause_of) if place == cause] for cause in range(len(causes))]
    return [
        JointVerdict(
            tuple(verdicts[row] for row in rows),
            tuple(place for place, row in enumerate(rows) if verdicts[row].drifting and loud[row]),
            bool(told[rows].any()),
        )
        for rows in rows_of
    ]


@dataclass(frozen=True, slots=True)
class _Nights:
    """Series in order of time, (watches, nights), or of one watch, (nights,)."""

    values: FloatArray
    expected: FloatArray
    segment: np.ndarray[Any, Any]
    days: FloatArray

    def of(self, row: int) -> _Nights:
        return _Nights(self.values[row], self.expected[row], self.segment[row], self.days)

    @property
    def usable(self) -> Mask:
        return np.isfinite(self.values) & np.isfinite(self.expected)

    @property
    def newest(self) -> Mask:
        """The usable nights of one watch since the last change before the last of them."""
        changed = np.concatenate([[False], self.segment[1:] != self.segment[:-1]]).cumsum()
        return np.asarray(self.usable & (changed == changed[self.usable][-1]))


def _in_order(
    watches: Sequence[Watch], values: ArrayLike, days: ArrayLike, expected: ArrayLike, segment: ArrayLike
) -> _Nights:
    x, day = np.asarray(values, dtype=np.float64), np.asarray(days, dtype=np.float64)
    if x.shape != (len(watches), day.size):
        raise ValueError(f"values are watches by days, {(len(watches), day.size)}, not of shape {x.shape}")
    bad = np.flatnonzero(~np.isfinite(day))
    if bad.size:
        raise ValueError(f"day {bad[0]} is not a number: {day[bad[0]]}")
    order = np.argsort(day, kind="stable")
    change = np.broadcast_to(np.asarray(expected, dtype=np.float64), x.shape)
    label = np.broadcast_to(np.asarray(segment), x.shape)
    return _Nights(x[:, order], change[:, order], label[:, order], day[order])


def _ways_of(row: int, ways: list[tuple[int, int]], course: Course) -> list[tuple[int, int]]:
    """Row of the course and sign of each direction of a watch: the one told, or that the nights lean to, first."""
    own = [(place, sign) for place, (of, sign) in enumerate(ways) if of == row]
    return sorted(own, key=lambda way: _lean(course, way[0]), reverse=True)


def _lean(course: Course, place: int) -> tuple[bool, float]:
    return bool(course.told[place, -1:].any()), float(np.nan_to_num(course.average[place, -1:], nan=-9).sum())


def _verdict(
    watch: Watch, course: Course, ways: list[tuple[int, int]], nights: _Nights, *, flow: float, first: int
) -> Verdict:
    """ways: the row of the course and the sign for each watched direction, the one to tell of first."""
    if not nights.usable.any():
        return Verdict(watch, why=Reason("no_usable_night"), flow=flow)
    place, sign = ways[0]
    comparable = np.where(nights.usable, nights.values - course.factor[place, -1] * nights.expected, np.nan)
    shown = _chart(course, ways, comparable, nights.days)
    here = nights.newest
    count = int(here.sum())
    if count < first:
        code = "few_nights" if here[nights.usable].all() else "few_nights_since_change"
        why = Reason(code, nights=count, least=first)
        return Verdict(watch, why=why, nights=count, flow=flow, chart=shown)
    numbers = _of_charts(course, place, sign, nights.days) | _of_nights(
        watch, comparable[here][-WINDOW:], nights.days[here][-WINDOW:], float(sign * course.level[place, -1]), sign
    )
    told, passed = bool(course.told[place, -1]), bool(course.passed[place, -1] >= 0)
    state: State = "drifting" if told and sign * numbers["shift"] > 0 else "passed" if told or passed else "usual"
    return Verdict(watch, state=state, nights=count, flow=flow, chart=shown, **numbers)


def _chart(course: Course, ways: list[tuple[int, int]], comparable: FloatArray, days: FloatArray) -> Chart:
    place, sign = ways[0]
    baseline, wide = sign * course.level[place], course.wide[place]
    average = baseline + sign * course.average[place] * wide
    limits = tuple(baseline + way * course.average_limit[place] * wide for _, way in ways)
    return Chart(days, comparable, baseline, average, limits)


def _of_charts(course: Course, place: int, sign: int, days: FloatArray) -> dict[str, Any]:
    """What the charts hold on the last night, as numbers of a `Verdict`."""
    first_day = _day(days, course.since[place, -1])
    newest: dict[str, Any] = {
        name: float(getattr(course, name)[place, -1])
        for name in ("scatter", "correlation", "evidence", "cusum", "average")
    }
    limits = {name: float(getattr(course, name)[place]) for name in ("evidence_limit", "cusum_limit", "average_limit")}
    return (
        newest
        | limits
        | {
            "direction": "up" if sign > 0 else "down",
            "first_day": first_day,
            "told_day": _day(days, course.told_at[place, -1]),
            "passed_day": _day(days, course.passed[place, -1]),
        }
    )


def _of_nights(watch: Watch, newest: FloatArray, days: FloatArray, baseline: float, sign: int) -> dict[str, Any]:
    """What the newest nights show beside the usual, as numbers of a `Verdict`."""
    now = float(hodges_lehmann(newest[-PRESENT:]))
    slope = theil_sen_slope(times=days / 7, values=newest, unit=f"{watch.unit}/wk").number
    return {
        "baseline": baseline,
        "now": now,
        "shift": now - baseline,
        "slope_per_week": math.nan if slope is None else slope,
        "trend": mann_kendall(values=newest),
        "last_day": float(days[-1]),
        "beyond": int((sign * (newest - baseline) > 0).sum()),
        "of": newest.size,
    }


def _day(days: FloatArray, place: np.intp) -> float:
    return float(days[place]) if place >= 0 else math.nan


def theil_sen_slope(*, times: ArrayLike, values: ArrayLike, unit: str) -> Measure:
    """Median of the slopes between all pairs of points with different times [unit of values per unit of times].

    times, values: shape (n,), in any order; a pair with NaN is left out; unit: of the answer. Unknown with
    fewer than three points or with one time only.
    Source: Theil 1950; Sen, J Am Stat Assoc 1968;63:1379 (from memory; checked against SciPy and a textbook).

    >>> theil_sen_slope(times=[0, 1, 2, 3], values=[1, 3, 5, 7], unit="mmHg/d").number
    2.0
    """
    x, y = _points(times, values)
    if x.size < FEWEST:
        return unknown(unit, Reason("few_points_for_slope", least=FEWEST, points=x.size))
    first, second = np.triu_indices(x.size, k=1)
    apart = x[second] - x[first]
    usable = apart != 0
    if not usable.any():
        return unknown(unit, Reason("one_time_only"))
    slopes = (y[second] - y[first])[usable] / apart[usable]
    return measure(np.median(slopes), unit)


def mann_kendall(*, values: ArrayLike) -> TrendEvidence:
    """Whether values in order of time go one way, by the signs of all differences, ties allowed for.

    values: shape (n,), in order of time; NaN is left out. S = sum of sign(later - earlier);
    Var S = [n(n-1)(2n+5) - sum t(t-1)(2t+5)]/18 over groups of t ties; z = (S - sign S)/sqrt(Var S).
    Source: Mann 1945; Kendall 1975; Gilbert 1987 (from memory; checked against a textbook example and SciPy).

    >>> round(mann_kendall(values=[10, 12, 11, 15, 14, 18, 17, 20]).z, 4)
    2.5981
    """
    (given,) = as_float(values)
    y = given[np.isfinite(given)]
    if y.size < FEWEST:
        return TrendEvidence(0.0, 0.0, math.nan, math.nan, Reason("few_points_for_trend", least=FEWEST, points=y.size))
    first, second = np.triu_indices(y.size, k=1)
    s = float(np.sign(y[second] - y[first]).sum())
    variance = _variance(y)
    if variance == 0:
        return TrendEvidence(s, 0.0, math.nan, math.nan, Reason("all_equal"))
    z = (s - math.copysign(1, s)) / math.sqrt(variance) if s else 0.0
    return TrendEvidence(s, variance, z, math.erfc(abs(z) / math.sqrt(2)))


def _points(times: ArrayLike, values: ArrayLike) -> tuple[FloatArray, FloatArray]:
    x, y = as_float(times, values)
    if x.ndim != 1:
        raise ValueError(f"times and values are lists of points, not of shape {x.shape}")
    kept = np.isfinite(x) & np.isfinite(y)
    return x[kept], y[kept]


def _variance(y: FloatArray) -> float:
    n = y.size
    _, ties = np.unique(y, return_counts=True)
    tied = (ties * (ties - 1) * (2 * ties + 5)).sum()
    return float((n * (n - 1) * (2 * n + 5) - tied) / 18)
