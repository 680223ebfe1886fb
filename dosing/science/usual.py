"""What is usual for one patient, learned night by night: level, answer to blood flow, scatter, serial correlation.

The level of a night is known from the nights before it only, and its uncertainty is carried along, so each night's
score, its deviation over the standard deviation of what was foreseen, is a standard normal number while nothing
changes, however young the level is: the recursive residuals of Brown, Durbin and Evans (J R Stat Soc B 1975;37:149,
from memory), as a Kalman filter gives them. Scores are tamed before they move anything, as in the robust filter of
Masreliez and Martin (IEEE Trans Autom Control 1977;22:361, from memory).

What carries over a change of access, needles, site or lines is the patient's scatter, correlation and answer to flow;
the level does not. Everything that the patient's few nights cannot tell is shrunk to a stated value.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from dosing.science.results import FloatArray
from dosing.science.robust import hodges_lehmann

Mask = np.ndarray[Any, np.dtype[np.bool_]]
Whole = np.ndarray[Any, np.dtype[np.intp]]
LEVEL_VARIANCE = np.pi / 3
"""Variance of the middle of Hodges and Lehmann over that of the mean, normal scatter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """How the charts are built. Choices without a source were made on simulated patients, never on those reported.

    first: nights with a value before anything is said: eight tell a level to a third of one night's scatter.
    memory: nights over which a level is known, where a quantity has none of its own: it may wander by scatter/memory a
        night, and what wanders more slowly than that calls nobody.
    clip, wild: a night counts at most `clip` standard deviations. One beyond `wild` counts nothing unless the night
        before went beyond the clip the same way: a needle tip at the wall is one night, a change of the access stays.
    slopes: drifts that are looked for [standard deviations of a night per night]; 1.5 mmHg on 9 is a sixth.
    window: nights back to which a drift may have begun; starts: of these, how many share the evidence at most. While
        the level is young there are fewer, and with so many each night is wrong about equally often.
    drift_nights, step_nights, mean_nights: nights that the evidence of a drift, the CUSUM and the EWMA run on average
        until a false signal, one direction watched; twice that for each of two directions. The first two decide.
    allowance, weight: k of the CUSUM, for steps of one and a half standard deviations; w of the EWMA.
    over: share of its limit below which the running mean ends a drift that was told.
    lag: nights that wait before they tell of scatter and correlation, so that a drift does not pass for scatter.
    scatter_nights, correlation_nights: nights that the usual scatter of a quantity, and `correlation` of neighbouring
        nights, count as; most_correlation bounds it; least_scatter: share of the usual scatter below which no patient's
        goes: whoever writes the same number every night has not become steadier than anybody.
    flow_spread: relative standard deviation between patients of the answer to flow; the two published slopes for 14 G
        (0.328 and 0.403 mmHg per mL/min) differ by a fifth.
    """

    first: int = 8
    memory: float = 100.0
    clip: float = 1.8
    wild: float = 3.3
    slopes: tuple[float, ...] = (1 / 24, 1 / 12, 1 / 6, 1 / 3)
    window: int = 60
    starts: int = 30
    drift_nights: float = 2000.0
    step_nights: float = 5000.0
    mean_nights: float = 500.0
    allowance: float = 0.75
    weight: float = 0.2
    over: float = 0.7
    lag: int = 16
    scatter_nights: float = 20.0
    least_scatter: float = 0.25
    correlation: float = 0.2
    correlation_nights: float = 60.0
    most_correlation: float = 0.5
    flow_spread: float = 0.25

    @property
    def above_clip(self) -> float:
        """Q(c): share of a standard normal number above the clip."""
        return math.erfc(self.clip / math.sqrt(2)) / 2

    @property
    def clipped_square(self) -> float:
        """Mean square of a standard normal number clipped at c: 1 - 2 c phi(c) - 2 Q(c) + 2 c^2 Q(c)."""
        c = self.clip
        density = math.exp(-c * c / 2) / math.sqrt(2 * math.pi)
        return 1 - 2 * c * density - 2 * self.above_clip + 2 * c * c * self.above_clip


@dataclass(frozen=True, slots=True)
class Score:
    """One night of all rows, each of shape (rows,); only rows that are `live` have one, the others count nothing.

    raw, tame: deviation in standard deviations, as it is and as it counts. wide: that standard deviation [unit]. keep,
    turn: weights of level and factor in it: 1 less the correlation, and the change by flow that the night before did
    not foretell. gain_level, gain_factor: by how much a unit of deviation moves the two.
    """

    live: Mask
    raw: FloatArray
    tame: FloatArray
    wide: FloatArray
    keep: FloatArray
    turn: FloatArray
    gain_level: FloatArray
    gain_factor: FloatArray


class Usual:
    """The usual of many rows, kept up night by night; its size does not grow with the nights.

    level: at the expected change 0 [unit]; factor: answer to flow over the expected one; with their variances and
    covariance; scatter: of one night [unit]; correlation: of neighbours; count: nights with a value in this segment.
    """

    def __init__(
        self,
        usual_scatter: FloatArray,
        design: Design,
        memory: FloatArray | None = None,
        least: FloatArray | None = None,
    ) -> None:
        """memory, least: of each row as in the design, (rows,); the design's where None."""
        rows = usual_scatter.size
        self.design, self.usual_scatter = design, usual_scatter
        self.memory = np.full(rows, design.memory) if memory is None else memory
        self.least_scatter = usual_scatter * (design.least_scatter if least is None else least)
        self.level, self.level_variance, self.covariance = np.zeros((3, rows))
        self.factor, self.factor_variance = np.ones(rows), np.full(rows, design.flow_spread**2)
        self.scatter, self.correlation = usual_scatter.copy(), np.full(rows, design.correlation)
        self.count = np.zeros(rows, dtype=np.intp)
        # The night before: its value as it counted, its expected change, its score as it was.
        self.last, self.last_expected, self.last_raw = np.zeros((3, rows))
        # What tells of scatter and correlation: nights, squares [unit squared], products of neighbours [1].
        self.known, self.waiting = np.zeros((3, rows)), np.zeros((3, rows, design.lag))
        self.seen = np.zeros(rows, dtype=np.intp)
        self.early = np.zeros((2, rows, design.first))

    def restart(self, rows: Mask) -> None:
        """Begin a segment: the level is not known any more, what was learned of the patient is kept."""
        self.count[rows] = 0
        self.last_raw[rows] = 0

    def score(self, values: FloatArray, expected: FloatArray) -> Score:
        """How far tonight lies from what was foreseen. values, expected: (rows,), NaN where missed."""
        here = np.isfinite(values) & np.isfinite(expected)
        live = here & (self.count >= self.design.first)
        value, change = np.where(live, values, 0.0), np.where(live, expected, 0.0)
        keep = 1 - self.correlation
        turn = change - self.correlation * self.last_expected
        deviation = value - self.correlation * self.last - keep * self.level - turn * self.factor
        of_level = keep * self.level_variance + turn * self.covariance
        of_factor = keep * self.covariance + turn * self.factor_variance
        variance = keep * of_level + turn * of_factor + self.scatter**2 * (1 - self.correlation**2)
        wide = np.sqrt(variance)
        raw = np.where(live, deviation / wide, 0.0)
        tame = self._tamed(raw)
        return Score(live, raw, tame, wide, keep, turn, of_level / variance, of_factor / variance)

    def _tamed(self, raw: FloatArray) -> FloatArray:
        clip = self.design.clip
        supported = self.last_raw * np.sign(raw) >= clip
        return np.where((np.abs(raw) > self.design.wild) & ~supported, 0.0, np.clip(raw, -clip, clip))

    def learn(self, score: Score, values: FloatArray, expected: FloatArray, held: Mask) -> None:
        """Take tonight in; where `held`, a drift goes on and tonight tells nothing of the usual."""
        free = score.live & ~held
        self._tell(score, values, expected, free)
        step = np.where(free, score.tame * score.wide, 0.0)
        self.level += score.gain_level * step
        self.factor += score.gain_factor * step
        for name, gain, other in (
            ("level_variance", score.gain_level, score.gain_level),
            ("covariance", score.gain_level, score.gain_factor),
            ("factor_variance", score.gain_factor, score.gain_factor),
        ):
            setattr(self, name, getattr(self, name) - np.where(free, gain * other * score.wide**2, 0.0))
        self.level_variance += np.where(free, (self.scatter / self.memory) ** 2, 0.0)
        # As it counted: a wild night must not make the next one look wild the other way.
        counted = values - (score.raw - score.tame) * score.wide
        self._pass_on(score.live, counted, expected, score.raw)
        self._begin(values, expected)

    def _pass_on(self, rows: Mask, value: FloatArray, expected: FloatArray, raw: FloatArray) -> None:
        self.last = np.where(rows, value, self.last)
        self.last_expected = np.where(rows, expected, self.last_expected)
        self.last_raw = np.where(rows, raw, self.last_raw)
        self.count += rows

    def _tell(self, score: Score, values: FloatArray, expected: FloatArray, tells: Mask) -> None:
        """Keep what tonight tells of scatter and correlation until `lag` more nights have passed, and use what has."""
        clip = self.design.clip
        now = (values - self.level - self.factor * expected) / self.scatter
        before = (self.last - self.level - self.factor * self.last_expected) / self.scatter
        # The level holds the night before: what that takes off the product, the level's own variance gives back.
        product = np.clip(now, -clip, clip) * np.clip(before, -clip, clip)
        square = np.clip(score.raw, -clip, clip) ** 2
        told = np.stack(
            [np.ones_like(now), self._square_told(square, self.scatter), product / self.design.clipped_square]
        )
        place = (np.flatnonzero(score.live), self.seen[score.live] % self.design.lag)
        self.known[:, place[0]] += self.waiting[:, *place]
        self.waiting[:, *place] = np.where(tells, told, 0.0)[:, place[0]]
        self.seen += score.live
        self._shrink()

    def _square_told(self, square: FloatArray, scatter: FloatArray) -> FloatArray:
        """What a clipped square tells of the scatter squared: one step of Newton's towards the scatter that it fits."""
        design = self.design
        inside = design.clipped_square - 2 * design.clip**2 * design.above_clip
        return scatter**2 * (1 + (square - design.clipped_square) / inside)

    def forget_waiting(self, rows: Mask) -> None:
        """Drop the nights that have not told of the scatter yet: they belong to a drift."""
        self.waiting[:, rows] = 0.0

    def _shrink(self) -> None:
        design, (nights, squares, products) = self.design, self.known
        usual = design.scatter_nights * self.usual_scatter**2
        # One step of Newton's overshoots below zero for who writes the same every night.
        found = np.sqrt(np.maximum(usual + squares, 0.0) / (design.scatter_nights + nights))
        self.scatter = np.maximum(found, self.least_scatter)
        found = (design.correlation_nights * design.correlation + products) / (design.correlation_nights + nights)
        self.correlation = np.clip(found, 0, design.most_correlation)

    def _begin(self, values: FloatArray, expected: FloatArray) -> None:
        """Collect the first nights of a segment; with the last of them its level is known."""
        first = self.design.first
        rows = np.flatnonzero(np.isfinite(values) & np.isfinite(expected) & (self.count < first))
        self.early[:, rows, self.count[rows]] = values[rows], expected[rows]
        self.count[rows] += 1
        ready = rows[self.count[rows] == first]
        if ready.size:
            self._first_level(ready)

    def _first_level(self, rows: Whole) -> None:
        """Level by Hodges and Lehmann at the patient's answer to flow; the nights tell of scatter at once."""
        design, factor = self.design, self.factor[rows]
        values, change = self.early[:, rows]
        level = hodges_lehmann(values - factor[:, None] * change)
        left = np.clip(
            (values - level[:, None] - factor[:, None] * change) / self.scatter[rows, None], -design.clip, design.clip
        )
        spent = design.first / (design.first - 1)
        self.known[0, rows] += design.first
        self.known[1, rows] += self._square_told(spent * left**2, self.scatter[rows, None]).sum(1)
        # Marriott and Pope, Biometrika 1954;41:390 (from memory): the fit takes about one off the sum.
        self.known[2, rows] += (left[:, 1:] * left[:, :-1]).sum(1) / design.clipped_square + 1
        self._shrink()
        centre, r = change.mean(1), self.correlation[rows]
        own = LEVEL_VARIANCE * self.scatter[rows] ** 2 * (1 + r) / (1 - r) / design.first
        self.level[rows] = level
        self.covariance[rows] = -centre * self.factor_variance[rows]
        self.level_variance[rows] = own + centre**2 * self.factor_variance[rows]
        self.last[rows] = (level + factor * change[:, -1]) + left[:, -1] * self.scatter[rows]
        self.last_expected[rows] = change[:, -1]
        self.last_raw[rows] = 0.0
