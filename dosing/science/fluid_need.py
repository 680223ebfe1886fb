"""Fluid that one treatment has to take off, as a distribution: the patient's own treatments put at another gap.

What has to come off is what was gained since the treatment before, end to start, and what came in meanwhile:
rinse-back, drinks and infusions. Each treatment of the patient tells its gain a day and what was given; put at another
gap it is one possibility of that schedule. Treatments after a gap of like length count most: people gain less a day
over a long one. A few possibilities of a stated prior stand beside them, so that few treatments give a wide answer,
many a narrow one, and a gap that was never tried a wider one than a usual gap.

One litre is one kilogram. Gains come over time off treatment; what is given is taken as it was, whatever the length.
Source: mass balance; level of the prior by the normal mean with a normal prior, on logarithms (textbook).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.results import FloatArray

LIKE_GAPS = 0.3
"""Difference of the logarithms of two gaps at which a treatment counts exp(-1/2): a third longer (no source)."""
UNLIKE_COUNTS = 0.1
"""What a treatment after a gap of any other length counts at least (no source)."""
PRIOR_COUNTS = 4.0
"""Treatments as many as the prior counts (no source; the share of nights over a limit was held against simulations)."""
LEAST_A_DAY = 0.05
"""[L/day] below which a level of gain is not told from none."""
LEAST_GAP, MOST_GAP = 0.2, 5.0
"""[days] between which a gap tells of the usual gain (no source)."""
MOST_GIVEN = 3.0
"""[L] beyond which, either way, a scale or an entry is more likely wrong than that so much came in (no source)."""
SLIPS = 5.0
"""Robust standard deviations from the middle beyond which a gain a day is a slip of scale or pen (no source)."""
LEAST_SCATTER = 0.15
"""[L/day] that gains a day scatter at least, so that steady ones make no slip of a usual one (no source)."""
_POINTS = np.array([NormalDist().inv_cdf((place + 0.5) / 9) for place in range(9)])
MAD_TO_SD = 1.4826
"""Median absolute deviation to standard deviation, normal scatter (textbook)."""
HOURS_OF_THREE = 52.0
"""Mean hours from end to start of three treatments of four hours a week: (168 - 12)/3."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FluidNights:
    """What a patient's treatments tell of fluid, (n,) each; n may be 0.

    gap_days: end of the one before to start, above 0 [days]; gained_l: weight gained over it [L], below 0 where lost;
    given_l: what came in during the treatment [L], NaN where not known; weight_kg: target, what the prior goes by.
    """

    gap_days: FloatArray
    gained_l: FloatArray
    given_l: FloatArray
    weight_kg: float

    @property
    def rates(self) -> FloatArray:
        """Gain a day off treatment [L/day]."""
        return self.gained_l / self.gap_days

    @property
    def usual_given(self) -> float:
        """The middle of what came in during a treatment; without any known, the usual amount [L]."""
        known = self.given_l[np.isfinite(self.given_l)]
        return float(np.median(known)) if known.size else float(k.GIVEN_USUAL)


def fluid_nights(*, gap_days: ArrayLike, gained_l: ArrayLike, given_l: ArrayLike, weight_kg: float) -> FluidNights:
    """The treatments that tell of fluid; those without a gain, after an odd gap or with a slip are left out.

    Arrays (n,), NaN where not known, in days and L; weight_kg: target weight.

    >>> tells = fluid_nights(gap_days=[2, 2, 2, 9, 2], gained_l=[1.9, 2.0, 2.1, 3, 12], given_l=[0.4] * 4 + [9],
    ...                      weight_kg=70)
    >>> tells.gained_l.tolist()
    [1.9, 2.0, 2.1]
    """
    gaps, gained, given = (np.asarray(each, dtype=np.float64) for each in (gap_days, gained_l, given_l))
    tells = np.isfinite(gained) & (gaps >= LEAST_GAP) & (gaps <= MOST_GAP)
    gaps, gained, given = gaps[tells], gained[tells], given[tells]
    rates = gained / gaps
    if rates.size:
        off = np.abs(rates - np.median(rates))
        like = off <= SLIPS * max(float(MAD_TO_SD * np.median(off)), LEAST_SCATTER)
        gaps, gained, given = gaps[like], gained[like], given[like]
    given = np.where(np.abs(given) <= MOST_GIVEN, given, np.nan)
    return FluidNights(gap_days=gaps, gained_l=gained, given_l=given, weight_kg=weight_kg)


@dataclass(frozen=True, slots=True, eq=False)
class FluidSpread:
    """Fluid to take off [L] as possibilities in ascending order with their weights, (..., m); weights add up to 1."""

    litres: FloatArray
    weights: FloatArray

    @property
    def mean(self) -> FloatArray:
        return np.asarray((self.litres * self.weights).sum(-1))

    def share_over(self, most_l: ArrayLike) -> FloatArray:
        """Share of treatments that have more than this to take off. most_l: [L], broadcasts with the leading shape."""
        over = self.litres > np.asarray(most_l, dtype=np.float64)[..., None]
        return np.asarray((over * self.weights).sum(-1))

    def stays_under(self, share: float) -> FloatArray:
        """The least volume that at least this share of the treatments does not pass [L].

        So it is within a limit exactly where `share_over` the limit is at most 1 - share.
        """
        reached = self.weights.cumsum(-1) >= share - 1e-9
        return np.asarray(np.take_along_axis(self.litres, reached.argmax(-1)[..., None], -1)[..., 0])


def fluid_to_take_off(*, nights: FluidNights, gap_days: ArrayLike) -> FluidSpread:
    """Fluid of a treatment this long after the end of the last one. gap_days: [days], any shape, above 0.

    Source: mass balance; prior of the gain: 3.5 % of the weight, 1.1 % between patients, three treatments a week
    (Lopez-Gomez et al., Kidney Int 67 Suppl 93:S63-8, 2005).

    >>> own = FluidNights(gap_days=np.full(12, 2.0), gained_l=np.linspace(1.5, 2.6, 12), given_l=np.full(12, 0.5),
    ...                   weight_kg=70)
    >>> spread = fluid_to_take_off(nights=own, gap_days=[1.0, 2.0])
    >>> spread.mean.round(1).tolist(), spread.share_over(2.8).round(2).tolist()
    ([1.6, 2.6], [0.0, 0.27])
    """
    gaps = np.asarray(gap_days, dtype=np.float64)[..., None]
    like = _likeness(nights.gap_days, gaps)
    prior = _prior_rates(nights, like)
    given = np.where(np.isfinite(nights.given_l), nights.given_l, nights.usual_given)
    own_l = nights.rates * gaps + given
    litres = np.concatenate([own_l, prior * gaps + nights.usual_given], axis=-1)
    weights = np.concatenate([like, np.full(prior.shape, PRIOR_COUNTS / _POINTS.size)], axis=-1)
    order = np.argsort(litres, axis=-1)
    weights = np.take_along_axis(weights, order, -1)
    litres = np.maximum(0.0, np.take_along_axis(litres, order, -1))
    return FluidSpread(litres, weights / weights.sum(-1, keepdims=True))


def _likeness(own: FloatArray, gaps: FloatArray) -> FloatArray:
    """What each treatment counts at each gap, (..., n)."""
    apart = np.log(own / gaps) / LIKE_GAPS
    return UNLIKE_COUNTS + (1 - UNLIKE_COUNTS) * np.exp(-(apart**2) / 2)


def _prior_rates(nights: FluidNights, like: FloatArray) -> FloatArray:
    """Gains a day of the prior [L/day], (..., points): about the patient's own level as far as it is known."""
    scatter, between = float(k.GAIN_SCATTER), float(k.GAIN_BETWEEN / k.GAIN_OF_WEIGHT)
    everybody = k.GAIN_OF_WEIGHT / 100 * nights.weight_kg / (HOURS_OF_THREE / 24)
    as_many = (scatter / between) ** 2
    count = like.sum(-1)
    own = np.log(np.maximum(_middle(nights.rates, like), LEAST_A_DAY)) if nights.rates.size else 0.0
    level = (count * own + as_many * math.log(everybody)) / (count + as_many)
    spread = scatter * np.sqrt(1 + 1 / (count + as_many))
    return np.asarray(np.exp(level[..., None] + spread[..., None] * _POINTS))


def _middle(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Weighted median of the values (n,) for each row of weights (..., n)."""
    order = np.argsort(values)
    reached = weights[..., order].cumsum(-1)
    return np.asarray(values[order][(reached >= reached[..., -1:] / 2).argmax(-1)])
