"""A patient's nights held against that patient's own usual: evidence of a drift, CUSUM and EWMA with designed limits.

Evidence of a drift is a likelihood ratio: how much better the nights up to now are told by a steady rise that began on
one of the last nights than by no change, averaged over a few slopes and added up over the nights of the beginning
(Shiryaev 1963, Roberts 1966; Pollak, Ann Stat 1985;13:206; from memory). The rise is followed through the same filter
as the nights, so what the level has already taken up of it does not count. CUSUM and EWMA add up the same scores.

Quantities that may tell of one cause make a story: the ratios of the nights of one beginning are multiplied, each
mixed with the chance that this quantity stays silent (Xie and Siegmund, Ann Stat 2013;41:670; from memory), and then
added up over the beginnings as for one alone. So quantities that move a little each are told together before any of
them is told by itself, and one that nobody notes adds nothing.

One direction is looked at, the rise; for a fall turn the signs. See `usual` for levels and scores.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from dosing.science.results import FloatArray, as_float
from dosing.science.sequential import cusum_limit, ewma_spread, ewma_width
from dosing.science.usual import Design, Mask, Score, Usual, Whole

DESIGN = Design()
Numbers = np.ndarray[Any, Any]
MOST = 600.0
"""Log of a ratio beyond which it would leave the range of floating point."""
EVIDENCE_LIMITS = {71.3: 0.5, 187.9: 1.0, 414.5: 1.5, 892: 2.0, 1914: 2.5, 4102: 3.0, 8469: 3.5, 17806: 4.0}
"""Limits of the evidence by nights until a false signal, one direction: 30,000 simulated patients of 200 nights with
the default design, `python tests/benchmarks/alert_quality.py --limits`. The last one rests on 335 signals."""
OF_USUAL = ("level", "factor", "scatter", "correlation")
OF_CHARTS = ("evidence", "voice", "cusum", "average")
SPEAKING = 0.9
"""Share of a story's quantities that are thought to move when it begins, before any night is seen."""
ALOUD = math.log(3)
"""Voice from which a quantity is named among those that speak: its nights are three times likelier with the drift."""
LIMITS = ("evidence_limit", "cusum_limit", "average_limit")
PLACES = ("since", "told_at", "passed")


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The charts night by night, (rows, nights), or of the last night only, (rows, 1); NaN while nothing is known.

    level: the usual where the expected change is 0 [unit]; factor: answer to flow over the expected one; scatter: of
    one night [unit]; correlation: of neighbours. evidence: log of the likelihood ratio, in each row of a story that
    of the whole; voice: log of the row's own ratio for the likeliest beginning; cusum, average: [standard deviations];
    evidence, cusum and average each with its limit, (rows,). told: whether a drift was told and goes on; since: place
    of the night on which it began, told_at: on which it was told, -1 for none; passed: place of the night on which the
    last one was over, -1 for none. A missed night keeps what the night before it had.
    """

    level: FloatArray
    factor: FloatArray
    scatter: FloatArray
    correlation: FloatArray
    evidence: FloatArray
    voice: FloatArray
    cusum: FloatArray
    average: FloatArray
    told: Mask
    since: Whole
    told_at: Whole
    passed: Whole
    evidence_limit: FloatArray
    cusum_limit: FloatArray
    average_limit: FloatArray

    @property
    def wide(self) -> FloatArray:
        """Scatter of a night as it counts in long sums, widened by the correlation [unit]."""
        return np.asarray(self.scatter * np.sqrt((1 + self.correlation) / (1 - self.correlation)))


def follow(
    *,
    values: ArrayLike,
    usual_scatter: ArrayLike,
    expected: ArrayLike = 0.0,
    segment: ArrayLike = 0,
    two_sided: ArrayLike = False,
    drift_nights: ArrayLike | None = None,
    memory: ArrayLike | None = None,
    least_scatter: ArrayLike | None = None,
    story: ArrayLike | None = None,
    only_last: bool = False,
    design: Design = DESIGN,
) -> Course:
    """Charts of every night, each from the nights up to it.

    values: (nights,) or (rows, nights) in order of time [unit], NaN where missed or unusable. usual_scatter: standard
    deviation from night to night of people in general [unit], above zero, one or one a row. expected: the change that
    the conditions of a night (its blood flow) make by a published slope [unit], 0 at the conditions in which levels
    are told; NaN leaves the night out. segment: whole numbers, a change starts a new level. two_sided: whether the
    same nights are also followed with the signs turned: the limits then allow for it; one or one a row. drift_nights:
    nights that the evidence runs until a false signal, one or one a row, else the design's; memory, least_scatter: as
    in the design, the same way. story: a whole number a row; rows of one number stand together, tell of one cause, and
    are told and over together; None where each stands alone. only_last: answer the last night only.
    Time and memory of the charts do not grow with the nights that went before.
    Raises ValueError for other shapes or a usual scatter that is not above zero.

    >>> course = follow(values=[100, 102, 99, 101, 98, 100, 101, 99, 100, 135, 138, 140, 141], usual_scatter=9)
    >>> bool(course.told[0, -1]), course.evidence.shape
    (False, (1, 13))
    """
    x = np.atleast_2d(np.asarray(values, dtype=np.float64))
    if x.ndim != 2:
        raise ValueError(f"values are nights, or rows of nights, not of shape {x.shape}")
    change = np.broadcast_to(np.asarray(expected, dtype=np.float64), x.shape)
    fresh = _fresh(np.broadcast_to(np.asarray(segment), x.shape))
    rows = _rows(len(x), usual_scatter, memory, least_scatter, story, design)
    charts = _Charts(rows, _limits_of(rows, two_sided, drift_nights, design), design)
    kept: list[dict[str, Numbers]] = []
    for night in range(x.shape[1]):
        charts.take(night, x[:, night], change[:, night], fresh[:, night])
        if not only_last or night == x.shape[1] - 1:
            kept.append(charts.now())
    lines: dict[str, Any] = _stacked(kept, charts)
    limits: dict[str, Any] = dict(charts.limits)
    return Course(**lines, **limits)


def _fresh(label: Numbers) -> Mask:
    """Whether a night is the first of its segment."""
    fresh = np.ones(label.shape, dtype=bool)
    fresh[:, 1:] = label[:, 1:] != label[:, :-1]
    return fresh


@dataclass(frozen=True, slots=True)
class _Rows:
    """What is known of each row beforehand, (rows,). first: the first row of each story; story: of each row, from 0."""

    usual_scatter: FloatArray
    memory: FloatArray
    least_scatter: FloatArray
    first: Whole
    story: Whole

    @property
    def alone(self) -> bool:
        return self.first.size == self.story.size


def _rows(
    count: int,
    usual_scatter: ArrayLike,
    memory: ArrayLike | None,
    least_scatter: ArrayLike | None,
    story: ArrayLike | None,
    design: Design,
) -> _Rows:
    usual = np.broadcast_to(np.asarray(usual_scatter, dtype=np.float64), count)
    if not (usual > 0).all():
        raise ValueError(f"the usual scatter is above zero, not {usual[~(usual > 0)][0]:g}")
    label = np.arange(count) if story is None else np.asarray(story)
    if label.shape != (count,):
        raise ValueError(f"a story is one number for each of {count} rows, not of shape {label.shape}")
    begins = np.concatenate([[True], label[1:] != label[:-1]])[:count]
    first = np.flatnonzero(begins)
    if np.unique(label[first]).size < first.size:
        raise ValueError(f"the rows of one story stand together, not as in {label.tolist()}")

    def of_rows(given: ArrayLike | None, usually: float) -> FloatArray:
        return np.broadcast_to(np.asarray(usually if given is None else given, dtype=np.float64), count)

    return _Rows(
        usual, of_rows(memory, design.memory), of_rows(least_scatter, design.least_scatter), first, begins.cumsum() - 1
    )


def _limits_of(
    rows: _Rows, two_sided: ArrayLike, drift_nights: ArrayLike | None, design: Design
) -> dict[str, FloatArray]:
    count = rows.story.size
    both = np.broadcast_to(np.asarray(two_sided, dtype=bool), count)
    lengths = np.asarray(design.drift_nights if drift_nights is None else drift_nights, dtype=np.float64)
    limits = _limits_of_rows(both, np.broadcast_to(lengths, count), design)
    if not rows.alone:
        limits["cusum_limit"] = np.full(count, np.inf)
    return limits


def _stacked(kept: list[dict[str, Numbers]], charts: _Charts) -> dict[str, Numbers]:
    if not kept:
        return {name: value[:, None][:, :0] for name, value in charts.now().items()}
    return {name: np.stack([night[name] for night in kept], 1) for name in kept[0]}


def segments(*labels: ArrayLike) -> Whole:
    """Number the stretches of nights over which no label changes: access, needle gauge, site, lines; from 0.

    labels: numbers of shape (..., nights), all alike, in order of time; NaN is "not noted" and changes nothing. A site
    that moves every night by plan (rope ladder) is no label: give the area it moves in.

    >>> segments([1, 1, 1, 2], [15, float("nan"), 16, 16]).tolist()
    [0, 0, 1, 2]
    """
    given = as_float(*labels)
    changed = np.zeros(given[0].shape, dtype=bool)
    for label in given:
        known = _carried(label)
        changed[..., 1:] |= (known[..., 1:] != known[..., :-1]) & ~np.isnan(known[..., :-1])
    return np.asarray(changed.cumsum(-1), dtype=np.intp)


def _carried(label: FloatArray) -> FloatArray:
    """Each night's last noted value."""
    places = np.where(np.isnan(label), 0, np.arange(label.shape[-1]))
    return np.take_along_axis(label, np.maximum.accumulate(places, -1), -1)


def evidence_limit(run_length: float) -> float:
    """The limit of the evidence of a drift with which it runs that many nights, on average, while nothing changes [1].

    run_length: 72 to 17,806 nights, one direction. Raises ValueError outside of it. Source: simulation of the charts
    themselves, `EVIDENCE_LIMITS`, straight lines between in the logarithm of the run length.

    >>> evidence_limit(892)
    2.0
    """
    lengths = np.array(list(EVIDENCE_LIMITS))
    if not lengths[0] <= run_length <= lengths[-1]:
        raise ValueError(f"evidence is designed for {lengths[0]:g} to {lengths[-1]:g} nights, not {run_length:g}")
    return float(np.interp(np.log(run_length), np.log(lengths), list(EVIDENCE_LIMITS.values())))


def _limits_of_rows(two_sided: Mask, drift_nights: FloatArray, design: Design) -> dict[str, FloatArray]:
    limits = {name: np.empty(two_sided.size) for name in LIMITS}
    for both, nights in {*zip(two_sided.tolist(), drift_nights.tolist(), strict=True)}:
        rows = (two_sided == both) & (drift_nights == nights)
        for name, limit in _limits(design, two_sided=both, drift_nights=nights).items():
            limits[name][rows] = limit
    return limits


@lru_cache(maxsize=64)
def _limits(design: Design, *, two_sided: bool, drift_nights: float) -> dict[str, float]:
    """Limits of the three charts; with both directions watched each may be wrong half as often."""
    share = 2 if two_sided else 1
    width = ewma_width(weight=design.weight, run_length=share * design.mean_nights, two_sided=False, clip=design.clip)
    return {
        "evidence_limit": evidence_limit(share * drift_nights),
        "cusum_limit": cusum_limit(allowance=design.allowance, run_length=share * design.step_nights, clip=design.clip),
        "average_limit": width * ewma_spread(design.weight),
    }


class _Charts:
    """Evidence, CUSUM and EWMA of many rows, and what was told of them."""

    def __init__(self, rows: _Rows, limits: dict[str, FloatArray], design: Design) -> None:
        count = rows.story.size
        self.design, self.limits, self.rows = design, limits, rows
        self.usual = Usual(rows.usual_scatter, design, rows.memory, rows.least_scatter)
        self.evidence, self.voice, self.cusum, self.average = np.zeros((4, count))
        self.told = np.zeros(count, dtype=bool)
        self.since, self.told_at, self.passed = np.full((3, count), -1, dtype=np.intp)
        # For each night on which a drift may have begun, by place in a ring: products of score and drift, squares of
        # the drift, how far the drift has moved level and factor, the number and place of that night. A night has the
        # same place in every row, so that the rows of a story lie beside each other.
        shape = (count, design.window)
        self.product, self.square, self.in_level, self.in_factor, self.began = np.zeros((5, *shape))
        self.night_of = np.zeros(design.window, dtype=np.intp)

    def take(self, night: int, values: FloatArray, expected: FloatArray, fresh: Mask) -> None:
        """Judge one night of all rows, then learn from it."""
        self._restart(fresh)
        score = self.usual.score(values, expected)
        self._add(night, score)
        begins = self._of_stories(score.live) & ~self.told & self._beyond()
        if begins.any():
            self._tell(night, begins)
        self._end(night, score)
        self.usual.learn(score, values, expected, self.told)

    def now(self) -> dict[str, Numbers]:
        known = self.usual.count >= self.design.first
        numbers = {name: getattr(self.usual, name) for name in OF_USUAL}
        numbers |= {name: getattr(self, name) for name in OF_CHARTS}
        places = {name: getattr(self, name).copy() for name in ("told", *PLACES)}
        return {name: np.where(known, value, np.nan) for name, value in numbers.items()} | places

    def _restart(self, fresh: Mask) -> None:
        if not fresh.any():
            return
        self.usual.restart(fresh)
        self._clear(fresh)
        self.average[fresh] = 0.0
        self.told[fresh] = False
        for name in PLACES:
            getattr(self, name)[fresh] = -1

    def _clear(self, rows: Mask) -> None:
        """Forget what speaks for a drift."""
        for part in (self.product, self.square, self.in_level, self.in_factor, self.evidence, self.voice, self.cusum):
            part[rows] = 0.0
        self.began[rows] = np.inf

    def _add(self, night: int, score: Score) -> None:
        design, live = self.design, score.live
        place = night % design.window
        for part in (self.product, self.square, self.in_level, self.in_factor):
            part[:, place] = 0.0
        # In a story a quantity that is missing tonight may begin to move tonight all the same.
        opens = live if self.rows.alone else self.usual.count >= design.first
        self.began[:, place], self.night_of[place] = np.where(opens, self.usual.count, np.inf), night
        drift = self._drift(score)
        self.product += drift * score.tame[:, None]
        self.square += drift * drift
        moved = np.where(self.told, 0.0, score.wide)[:, None] * drift
        self.in_level += score.gain_level[:, None] * moved
        self.in_factor += score.gain_factor[:, None] * moved
        self._weigh(live)
        self.cusum = np.where(live, np.maximum(0.0, self.cusum + score.tame - design.allowance), self.cusum)
        self.average += np.where(live, design.weight * (score.tame - self.average), 0.0)

    def _drift(self, score: Score) -> FloatArray:
        """What a drift of one scatter a night would add to tonight's score, for each night it may have begun on."""
        usual = self.usual
        nights = np.maximum(usual.count[:, None] - self.began + 1, 0.0)
        new = nights - usual.correlation[:, None] * np.maximum(nights - 1, 0.0)
        taken = score.keep[:, None] * self.in_level + score.turn[:, None] * self.in_factor
        drift = (new * usual.scatter[:, None] - taken) / score.wide[:, None]
        return np.where(score.live[:, None] & np.isfinite(self.began), drift, 0.0)

    def _weigh(self, live: Mask) -> None:
        """Evidence of each row, or of its story, on a night on which something of it is known."""
        ratios, tried = self._ratios(), np.isfinite(self.began)
        if self.rows.alone:
            self.evidence = np.where(live, self._added(ratios, tried), self.evidence)
            self.voice = self.evidence
            return
        silent = np.log1p(SPEAKING * (ratios - 1))
        joined = np.add.reduceat(silent, self.rows.first, axis=0)
        evidence = self._added(np.exp(np.minimum(joined, MOST)), np.logical_or.reduceat(tried, self.rows.first, axis=0))
        self.evidence = np.where(self._of_stories(live), evidence[self.rows.story], self.evidence)
        place = np.where(self._remembered(), self.since % self.design.window, joined.argmax(1)[self.rows.story])
        now = np.log(ratios[np.arange(place.size), place])
        self.voice = np.where(self.told & ~self._remembered(), self.voice, now)

    def _ratios(self) -> FloatArray:
        """Of each row and each night of beginning: a mean over the slopes, 1 where none was tried, (rows, window)."""
        total = np.zeros(self.product.shape)
        for slope in self.design.slopes:
            total += np.exp(slope * self.product - slope**2 / 2 * self.square)
        return total / len(self.design.slopes)

    def _added(self, ratios: FloatArray, tried: Mask) -> FloatArray:
        """Log of the sum over the beginnings that were tried, of which `starts` at most share it."""
        count = tried.sum(1)
        total = ratios.sum(1) - (self.design.window - count)
        return np.asarray(np.log(np.maximum(total, 1e-6) / np.clip(count, 1, self.design.starts)))

    def _remembered(self) -> Mask:
        """Whether the night on which a drift that goes on began is still in the ring."""
        place = self.since % self.design.window
        return np.asarray(self.told & (self.night_of[place] == self.since))

    def _of_stories(self, rows: Mask) -> Mask:
        """Whether any row of the same story is among these."""
        if self.rows.alone:
            return rows
        return np.asarray(np.logical_or.reduceat(rows, self.rows.first)[self.rows.story])

    def _beyond(self) -> Mask:
        limits = self.limits
        return np.asarray((self.evidence > limits["evidence_limit"]) | (self.cusum > limits["cusum_limit"]))

    def _tell(self, night: int, rows: Mask) -> None:
        """Hold level and factor where they were before the likeliest drift began."""
        chosen = np.flatnonzero(rows)
        likeliest = self._likeliest()[chosen]
        place = (chosen, likeliest)
        slope = np.clip(self.product[place] / np.maximum(self.square[place], 1e-9), 0.0, 1.0)
        self.usual.level[chosen] -= slope * self.in_level[place]
        self.usual.factor[chosen] -= slope * self.in_factor[place]
        self.told[chosen], self.told_at[chosen], self.since[chosen] = True, night, self.night_of[likeliest]
        self.passed[chosen] = -1
        self.usual.forget_waiting(rows)

    def _likeliest(self) -> Whole:
        """The place of the likeliest beginning by the best slope of each row, those of a story together, (rows,)."""
        product, square = np.maximum(self.product, 0.0), np.maximum(self.square, 1e-9)
        gained = np.add.reduceat(product**2 / square, self.rows.first, axis=0)
        return np.asarray(gained.argmax(1)[self.rows.story])

    def _end(self, night: int, score: Score) -> None:
        """A drift is over when the running mean is back, of a story that of each that spoke; all is forgotten then."""
        back = self.average < self.design.over * self.limits["average_limit"]
        if not self.rows.alone:
            back = ~self._of_stories(~back & (self.voice > ALOUD))
        over = self._of_stories(score.live) & self.told & back
        if over.any():
            self.told[over], self.passed[over] = False, night
            self._clear(over)
