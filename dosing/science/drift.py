"""A patient's nights held against that patient's own usual: evidence of a drift, CUSUM and EWMA with designed limits.

Evidence of a drift is a likelihood ratio: how much better the nights up to now are told by a steady rise that began on
one of the last nights than by no change, averaged over a few slopes and added up over the nights of the beginning
(Shiryaev 1963, Roberts 1966; Pollak, Ann Stat 1985;13:206; from memory). The rise is followed through the same filter
as the nights, so what the level has already taken up of it does not count. CUSUM and EWMA add up the same scores.

One direction is looked at, the rise; for a fall turn the signs. See `usual` for levels and scores.
"""

from __future__ import annotations

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
EVIDENCE_LIMITS = {71.3: 0.5, 187.9: 1.0, 414.5: 1.5, 892: 2.0, 1914: 2.5, 4102: 3.0, 8469: 3.5, 17806: 4.0}
"""Limits of the evidence by nights until a false signal, one direction: 30,000 simulated patients of 200 nights with
the default design, `python tests/benchmarks/alert_quality.py --limits`. The last one rests on 335 signals."""
OF_USUAL = ("level", "factor", "scatter", "correlation")
OF_CHARTS = ("evidence", "cusum", "average")
LIMITS = ("evidence_limit", "cusum_limit", "average_limit")
PLACES = ("since", "told_at", "passed")


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The charts night by night, (rows, nights), or of the last night only, (rows, 1); NaN while nothing is known.

    level: the usual where the expected change is 0 [unit]; factor: answer to flow over the expected one; scatter: of
    one night [unit]; correlation: of neighbours. evidence: log of the likelihood ratio; cusum, average: [standard
    deviations]; each with its limit, (rows,). told: whether a drift was told and goes on; since: place of the night on
    which it began, told_at: on which it was told, -1 for none; passed: place of the night on which the last one was
    over, -1 for none. A missed night keeps what the night before it had.
    """

    level: FloatArray
    factor: FloatArray
    scatter: FloatArray
    correlation: FloatArray
    evidence: FloatArray
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
    only_last: bool = False,
    design: Design = DESIGN,
) -> Course:
    """Charts of every night, each from the nights up to it.

    values: (nights,) or (rows, nights) in order of time [unit], NaN where missed or unusable. usual_scatter: standard
    deviation from night to night of people in general [unit], above zero, one or one a row. expected: the change that
    the conditions of a night (its blood flow) make by a published slope [unit], 0 at the conditions in which levels
    are told; NaN leaves the night out. segment: whole numbers, a change starts a new level. two_sided: whether the
    same nights are also followed with the signs turned: the limits then allow for it; one or one a row. drift_nights:
    nights that the evidence runs until a false signal, one or one a row, else the design's. only_last: answer the last
    night only. Time and memory of the charts do not grow with the nights that went before.
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
    charts = _charts(len(x), usual_scatter, two_sided, drift_nights, design)
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


def _charts(
    rows: int, usual_scatter: ArrayLike, two_sided: ArrayLike, drift_nights: ArrayLike | None, design: Design
) -> _Charts:
    usual = np.broadcast_to(np.asarray(usual_scatter, dtype=np.float64), rows)
    if not (usual > 0).all():
        raise ValueError(f"the usual scatter is above zero, not {usual[~(usual > 0)][0]:g}")
    both = np.broadcast_to(np.asarray(two_sided, dtype=bool), rows)
    lengths = np.asarray(design.drift_nights if drift_nights is None else drift_nights, dtype=np.float64)
    return _Charts(usual, _limits_of_rows(both, np.broadcast_to(lengths, rows), design), design)


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

    def __init__(self, usual_scatter: FloatArray, limits: dict[str, FloatArray], design: Design) -> None:
        rows = usual_scatter.size
        self.design, self.usual, self.limits = design, Usual(usual_scatter, design), limits
        self.evidence, self.cusum, self.average = np.zeros((3, rows))
        self.told = np.zeros(rows, dtype=bool)
        self.since, self.told_at, self.passed = np.full((3, rows), -1, dtype=np.intp)
        # For each night on which a drift may have begun, by place in a ring: products of score and drift, squares of
        # the drift, how far the drift has moved level and factor, the number and place of that night.
        shape = (rows, design.window)
        self.product, self.square, self.in_level, self.in_factor, self.began = np.zeros((5, *shape))
        self.night_of = np.zeros(shape, dtype=np.intp)

    def take(self, night: int, values: FloatArray, expected: FloatArray, fresh: Mask) -> None:
        """Judge one night of all rows, then learn from it."""
        self._restart(fresh)
        score = self.usual.score(values, expected)
        self._add(night, score)
        begins = score.live & ~self.told & self._beyond()
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
        for part in (self.product, self.square, self.in_level, self.in_factor, self.evidence, self.cusum):
            part[rows] = 0.0
        self.began[rows] = np.inf

    def _add(self, night: int, score: Score) -> None:
        design, live = self.design, score.live
        rows = np.flatnonzero(live)
        place = (rows, self.usual.count[rows] % design.window)
        for part in (self.product, self.square, self.in_level, self.in_factor):
            part[place] = 0.0
        self.began[place], self.night_of[place] = self.usual.count[rows], night
        drift = self._drift(score)
        self.product += drift * score.tame[:, None]
        self.square += drift * drift
        moved = np.where(self.told, 0.0, score.wide)[:, None] * drift
        self.in_level += score.gain_level[:, None] * moved
        self.in_factor += score.gain_factor[:, None] * moved
        self.evidence = np.where(live, self._ratio(), self.evidence)
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

    def _ratio(self) -> FloatArray:
        total = np.zeros(self.told.size)
        for slope in self.design.slopes:
            total += np.exp(slope * self.product - slope**2 / 2 * self.square).sum(1)
        # A beginning that was not tried yet gave exp(0).
        tried = np.isfinite(self.began).sum(1)
        total = total / len(self.design.slopes) - (self.design.window - tried)
        return np.asarray(np.log(np.maximum(total, 1e-6) / np.clip(tried, 1, self.design.starts)))

    def _beyond(self) -> Mask:
        limits = self.limits
        return np.asarray((self.evidence > limits["evidence_limit"]) | (self.cusum > limits["cusum_limit"]))

    def _tell(self, night: int, rows: Mask) -> None:
        """Hold level and factor where they were before the likeliest drift began."""
        chosen = np.flatnonzero(rows)
        product, square = np.maximum(self.product[chosen], 0.0), np.maximum(self.square[chosen], 1e-9)
        likeliest = (product**2 / square).argmax(1)
        place = (chosen, likeliest)
        slope = np.minimum(self.product[place] / self.square[place], 1.0)
        self.usual.level[chosen] -= slope * self.in_level[place]
        self.usual.factor[chosen] -= slope * self.in_factor[place]
        self.told[chosen], self.told_at[chosen], self.since[chosen] = True, night, self.night_of[place]
        self.passed[chosen] = -1
        self.usual.forget_waiting(rows)

    def _end(self, night: int, score: Score) -> None:
        """A drift is over when the running mean is back; what spoke for it is forgotten."""
        over = score.live & self.told & (self.average < self.design.over * self.limits["average_limit"])
        if over.any():
            self.told[over], self.passed[over] = False, night
            self._clear(over)
