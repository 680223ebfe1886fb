"""What is usual for one patient since the last change: level, scatter, serial correlation, and the answer to flow.

A reference is fitted to the first nights of a segment: the nights on one access, needle gauge, site and set of lines.
What carries over from one segment to the next is the patient's scatter, correlation and answer to flow; the level
does not. Everything the patient's few nights cannot tell is shrunk to a published or stated value.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dosing.science.checks import quiet
from dosing.science.results import FloatArray
from dosing.science.robust import hodges_lehmann, neighbour_products, qn_scatter

LEVEL_VARIANCE = np.pi / 3
"""Variance of the middle of Hodges and Lehmann over that of the mean, normal scatter."""
FAR = 2.0
"""Residuals beyond so many standard deviations lose weight in the answer to flow (Huber 1964, from memory)."""
ROUNDS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """How the charts are built. Choices without a source were made on simulated patients, never on those reported.

    first: nights with a value before anything is said: eight tell a level to a third of one night's scatter.
    most: nights after which the reference stands still, so that a slow drift does not become the usual.
    guard, guard_share: the newest nights kept out of the reference: 12, while there are few a third of all. A rise
        worth a call shows within about that many nights.
    clip, wild: a night counts at most `clip` standard deviations. One beyond `wild` counts nothing unless the night
        before went beyond the clip the same way: a needle tip at the wall is one night, a change of the access stays.
    allowance, weight: k of the CUSUM and w of the EWMA, for drifts that reach one and a half standard deviations.
    run_length: nights that each chart runs on average in one direction until a false signal, for independent normal
        nights with a known level. The two often signal together, so the pair is wrong less than twice as often.
    level_doubt: share of the level's variance by which the limits are widened. All of it would be right for a level
        that stays as wrong as it began, but it is fitted anew every few nights.
    correlation: of neighbouring nights, taken as known from `correlation_nights` nights; `most_correlation` bounds it.
        Scores are divided by sqrt((1 + r)/(1 - r)) more, the factor by which r widens the scatter of long means.
    scatter_nights: nights that the usual scatter of a quantity counts as.
    flow_spread: relative standard deviation between patients of the answer to flow; the two published slopes for 14 G
        (0.328 and 0.403 mmHg per mL/min) differ by a fifth.
    present: nights whose middle is "now"; window: nights of which those beyond the earlier middle are counted.
    """

    first: int = 8
    most: int = 100
    guard: int = 12
    guard_share: float = 1 / 3
    clip: float = 2.0
    wild: float = 3.3
    allowance: float = 0.75
    weight: float = 0.2
    run_length: float = 650.0
    level_doubt: float = 0.5
    correlation: float = 0.2
    correlation_nights: float = 40.0
    most_correlation: float = 0.5
    scatter_nights: float = 12.0
    flow_spread: float = 0.2
    present: int = 5
    window: int = 20

    def sizes(self) -> list[int]:
        """Numbers of nights with which a reference is fitted anew: steps of an eighth, so not every night."""
        sizes = [self.first]
        while sizes[-1] < self.most:
            sizes.append(min(self.most, max(sizes[-1] + 1, round(1.125 * sizes[-1]))))
        return sizes

    def judged_from(self, size: int) -> int:
        """Which night of a segment is the first to be held against a reference of that many nights."""
        if size == self.first:
            return size + 1
        return max(size + 1, int(np.ceil(min(size + self.guard, size / (1 - self.guard_share)))))


@dataclass(frozen=True, slots=True, eq=False)
class Earlier:
    """What closed segments tell of a patient: sums over their references, each of shape (rows,)."""

    nights: FloatArray
    squares: FloatArray
    products: FloatArray
    flow_cross: FloatArray
    flow_square: FloatArray

    @classmethod
    def nothing(cls, rows: int) -> Earlier:
        return cls(*(np.zeros(rows) for _ in range(5)))

    def of(self, rows: np.ndarray) -> Earlier:
        return Earlier(*(part[rows] for part in self.parts()))

    def parts(self) -> tuple[FloatArray, ...]:
        return (self.nights, self.squares, self.products, self.flow_cross, self.flow_square)

    def replaced(self, rows: np.ndarray, by: Earlier) -> Earlier:
        kept = [part.copy() for part in self.parts()]
        for part, new in zip(kept, by.parts(), strict=True):
            part[rows] = new
        return Earlier(*kept)


@dataclass(frozen=True, slots=True, eq=False)
class Reference:
    """The usual of some rows, each of shape (rows,).

    level: [unit] at the mean `centre` of the expected change; factor: the patient's answer over the expected one, with
    its variance; scatter: of one night [unit]; correlation: of neighbours; told: the sums for later segments.
    """

    level: FloatArray
    centre: FloatArray
    factor: FloatArray
    factor_variance: FloatArray
    scatter: FloatArray
    correlation: FloatArray
    nights: int
    told: Earlier

    @property
    def long_scatter(self) -> FloatArray:
        """Scatter of one night as it counts in sums of many: widened by the correlation."""
        return self.scatter * np.sqrt((1 + self.correlation) / (1 - self.correlation))

    def scores(self, values: FloatArray, expected: FloatArray) -> FloatArray:
        """Deviations of nights, (rows, nights), in standard deviations of long sums."""
        change = self.factor[:, None] * (expected - self.centre[:, None])
        return np.asarray((values - self.level[:, None] - change) / self.long_scatter[:, None])

    def level_variance(self, away: FloatArray, doubt: float) -> FloatArray:
        """Variance of the level [long_scatter squared] where the expected change lies `away` from the centre.

        doubt: the share of the level's own variance that counts, see `Design`; that of the factor counts whole.
        """
        of_flow = away**2 * (self.factor_variance / self.long_scatter**2)[:, None]
        return np.asarray(doubt * LEVEL_VARIANCE / self.nights + of_flow)


@quiet
def fit_reference(
    *, values: FloatArray, expected: FloatArray, earlier: Earlier, usual_scatter: float, design: Design
) -> Reference:
    """Fit the usual to reference nights.

    values: (rows, nights) [unit], no NaN; expected: the change that conditions (blood flow) would make by the
    published slope [unit], same shape; usual_scatter: [unit]. Level by Hodges and Lehmann, scatter by Qn, factor by
    weighted least squares with a normal prior about 1, in turns. Sources: `robust`; the shrinking is arithmetic.
    """
    count = values.shape[1]
    centre = expected.mean(1)
    away = expected - centre[:, None]
    factor, variance = np.ones(len(values)), np.zeros(len(values))
    told = earlier
    for _ in range(ROUNDS if away.any() else 1):
        level = hodges_lehmann(values - factor[:, None] * away)
        own = qn_scatter(values - factor[:, None] * away)
        scatter = _shrunk_scatter(own, count, earlier, usual_scatter, design)
        raw = values - level[:, None]
        cross, square = _flow_sums(raw, away, factor, scatter, design)
        told = Earlier(
            earlier.nights + count,
            earlier.squares + count * own**2,
            earlier.products,
            earlier.flow_cross + cross,
            earlier.flow_square + square,
        )
        prior = design.flow_spread**-2
        variance = 1 / (told.flow_square + prior)
        factor = (told.flow_cross + prior) * variance
    level = hodges_lehmann(values - factor[:, None] * away)
    residuals = (values - level[:, None] - factor[:, None] * away) / scatter[:, None]
    products = earlier.products + neighbour_products(np.clip(residuals, -FAR, FAR))
    told = Earlier(told.nights, told.squares, products, told.flow_cross, told.flow_square)
    return Reference(level, centre, factor, variance, scatter, _correlation(told, design), count, told)


def _shrunk_scatter(own: FloatArray, count: int, earlier: Earlier, usual: float, design: Design) -> FloatArray:
    """Root of the mean square of the usual scatter, of earlier references and of this one, weighted by nights."""
    squares = design.scatter_nights * usual**2 + earlier.squares + count * own**2
    return np.asarray(np.sqrt(squares / (design.scatter_nights + earlier.nights + count)))


def _flow_sums(
    raw: FloatArray, away: FloatArray, factor: FloatArray, scatter: FloatArray, design: Design
) -> tuple[FloatArray, FloatArray]:
    """Cross product and square of the expected change, over the variance of one night, wild nights weighing less.

    Flow changes in blocks of nights, so the correlation of neighbours weakens what they tell.
    """
    residuals = np.abs(raw - factor[:, None] * away) / scatter[:, None]
    weight = np.minimum(1, FAR / np.maximum(residuals, FAR / 1e3))
    told = weight / (scatter**2 * (1 + design.correlation) / (1 - design.correlation))[:, None]
    return (told * away * raw).sum(1), (told * away * away).sum(1)


def _correlation(told: Earlier, design: Design) -> FloatArray:
    known = design.correlation_nights
    found = (known * design.correlation + told.products) / (known + told.nights)
    return np.clip(found, 0, design.most_correlation)
