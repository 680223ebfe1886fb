"""Charts that add up small deviations night by night, and how long they run before they signal.

Scores are deviations in standard deviations. A CUSUM or EWMA counts one direction unless it is said to be two-sided:
a table's run length of 336 nights for k 0.5, h 4 is one-sided, 168 is the same chart two-sided.

The run length is that of a Markov chain (Brook and Evans, Biometrika 1972;59:539): the chart's range is cut into
states, the signal is the absorbing one. Checked in the tests against the tables of Lucas and Crosier, Brook and Evans,
Vance, Lucas and Saccucci, Crowder, and the worked examples of the NIST handbook.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from dosing.science.checks import quiet
from dosing.science.reasons import Reason
from dosing.science.results import FloatArray, Measure, measure

CUSUM_STATES = 120
EWMA_STATES = 101
LOWEST_OF_ONE_SIDED = 6.0
"""A one-sided EWMA is held at this many of its standard deviations below the target: it never gets there by chance."""
CLOSE = 1e-5
"""How near a designed limit is brought to the one that gives the wanted run length."""
_erf = np.vectorize(math.erf, otypes=[np.float64])
Distribution = Callable[[FloatArray], FloatArray]


@quiet
def cusum_path(*, scores: ArrayLike, allowance: float) -> FloatArray:
    """Upper tabular CUSUM, C = max(0, C + z - k) from 0, night by night.

    scores: z, (..., nights); NaN is a missed night and leaves C as it was. allowance: k, the same unit. For a fall
    give the scores with the other sign. Source: Page, Biometrika 1954;41:100, as in the NIST handbook 6.3.2.3.

    >>> cusum_path(scores=[1.0, float("nan"), -3.0, 2.0], allowance=0.5).tolist()
    [0.5, 0.5, 0.0, 1.5]
    """
    z = np.asarray(scores, dtype=np.float64)
    total = np.where(np.isnan(z), 0.0, z - allowance).cumsum(-1)
    lowest = np.minimum(np.minimum.accumulate(total, -1), 0)
    return np.asarray(total - lowest)


@quiet
def ewma_path(*, scores: ArrayLike, weight: float, start: float = 0.0) -> FloatArray:
    """Exponentially weighted mean, E = (1 - w) E + w z, night by night.

    scores: z, (..., nights); NaN is a missed night and leaves E as it was. weight: w, above 0 to 1.
    Source: Roberts, Technometrics 1959;1:239, as in the NIST handbook 6.3.2.4.

    >>> ewma_path(scores=[10.0, float("nan"), 20.0], weight=0.5).tolist()
    [5.0, 5.0, 12.5]
    """
    z = np.asarray(scores, dtype=np.float64)
    path, now = np.empty_like(z), np.full(z.shape[:-1], start)
    for night in range(z.shape[-1]):
        new = z[..., night]
        now = np.where(np.isnan(new), now, (1 - weight) * now + weight * new)
        path[..., night] = now
    return path


def ewma_spread(weight: float) -> float:
    """Standard deviation of an EWMA of independent scores after many nights: sqrt(w/(2 - w)).

    >>> round(ewma_spread(0.2), 6)
    0.333333
    """
    return math.sqrt(weight / (2 - weight))


def cusum_run_length(
    *, allowance: float, limit: float, shift: ArrayLike = 0.0, two_sided: bool = False, clip: float = math.inf
) -> Measure:
    """Mean number of nights until C > h for independent normal scores whose mean has shifted.

    allowance: k >= 0; limit: h > 0; shift: in standard deviations, any shape; clip: scores beyond it count as it, as
    the winsorised chart does. Two-sided by 1/L = 1/L+ + 1/L-. Source: Brook and Evans 1972, extrapolated in the width
    of the states where scores are not clipped.

    >>> round(cusum_run_length(allowance=0.5, limit=4, two_sided=True).number, 2)
    167.68
    """
    shifts = np.asarray(shift, dtype=np.float64)
    checks = [
        (allowance < 0, Reason("below_zero", what="the_allowance")),
        (not limit > 0, Reason("not_above_zero", what="the_limit")),
    ]
    checks.append((clip <= allowance, Reason("no_score_exceeds")))
    if any(bad for bad, _ in checks):
        return measure(np.full(shifts.shape, np.nan), "nights", checks)
    up = _each(lambda d: _cusum_length(allowance, limit, d, clip), shifts)
    if not two_sided:
        return measure(up, "nights")
    down = _each(lambda d: _cusum_length(allowance, limit, -d, clip), shifts)
    return measure(1 / (1 / up + 1 / down), "nights")


def ewma_run_length(
    *, weight: float, width: float, shift: ArrayLike = 0.0, two_sided: bool = True, clip: float = math.inf
) -> Measure:
    """Mean number of nights until an EWMA passes its fixed limit, for independent normal scores with a shifted mean.

    weight: w, above 0 to 1; width: L, the limit in units of `ewma_spread`; shift: in standard deviations, any shape;
    clip: as in `cusum_run_length`. The chart starts on target. Source: Lucas and Saccucci, Technometrics 1990;32:1.

    >>> round(ewma_run_length(weight=0.5, width=3.071, shift=1.0).number, 1)
    17.5
    """
    shifts = np.asarray(shift, dtype=np.float64)
    checks = [
        (not 0 < weight <= 1, Reason("outside", what="the_weight", low=0, high=1, unit="")),
        (not width > 0, Reason("not_above_zero", what="the_width")),
    ]
    if not checks[0][0]:
        checks.append((width * ewma_spread(weight) >= clip, Reason("no_run_reaches")))
    if any(bad for bad, _ in checks):
        return measure(np.full(shifts.shape, np.nan), "nights", checks)
    return measure(_each(lambda d: _ewma_length(weight, width, d, two_sided, clip), shifts), "nights")


def cusum_limit(*, allowance: float, run_length: float, two_sided: bool = False, clip: float = math.inf) -> float:
    """The limit h with which a CUSUM runs that many nights, on average, while nothing has shifted [1].

    run_length: 5 to 100,000 nights. Raises ValueError outside of it. By halving, to 1e-5.

    >>> round(cusum_limit(allowance=0.5, run_length=465.44, two_sided=True), 3)
    5.0
    """
    return _cusum_limit(allowance, 2 * run_length if two_sided else run_length, clip)


def ewma_width(*, weight: float, run_length: float, two_sided: bool = True, clip: float = math.inf) -> float:
    """The width L with which an EWMA runs that many nights, on average, while nothing has shifted [1].

    run_length: 5 to 100,000 nights. Raises ValueError outside of it. By halving, to 1e-5.

    >>> round(ewma_width(weight=0.2, run_length=500.0), 2)
    2.96
    """
    return _ewma_width(weight, run_length, two_sided, clip)


@lru_cache(maxsize=64)
def _cusum_limit(allowance: float, one_sided: float, clip: float) -> float:
    return _solve(lambda h: _cusum_length(allowance, h, 0.0, clip), one_sided, 0.01, 40.0)


@lru_cache(maxsize=64)
def _ewma_width(weight: float, run_length: float, two_sided: bool, clip: float) -> float:
    highest = min(6.0, 0.999 * clip / ewma_spread(weight))
    return _solve(lambda width: _ewma_length(weight, width, 0.0, two_sided, clip), run_length, 0.05, highest)


def _each(length: Callable[[float], float], shifts: FloatArray) -> FloatArray:
    return np.array([length(float(d)) for d in shifts.ravel()]).reshape(shifts.shape)


def _solve(length: Callable[[float], float], wanted: float, low: float, high: float) -> float:
    if not 5 <= wanted <= 200_000:
        raise ValueError(f"a run length is designed from 5 to 100000 nights, not {wanted:g}")
    while high - low > CLOSE:
        middle = (low + high) / 2
        # Beyond some limit the chain is singular in floating point: far longer than any wanted run.
        found = length(middle)
        low, high = (middle, high) if 0 < found < wanted else (low, middle)
    return high


def _scores(shift: float, clip: float) -> Distribution:
    """Distribution function of a normal score with mean `shift`, clipped on both sides."""

    def below(y: FloatArray) -> FloatArray:
        normal = (1 + _erf((y - shift) / math.sqrt(2))) / 2
        return np.where(y >= clip, 1.0, np.where(y < -clip, 0.0, normal))

    return below


def _cusum_length(allowance: float, limit: float, shift: float, clip: float) -> float:
    fine = _cusum_chain(allowance, limit, _scores(shift, clip), 2 * CUSUM_STATES)
    if math.isfinite(clip):
        # The heap of clipped scores falls into one state: what a finer cut gains is not smooth.
        return fine
    coarse = _cusum_chain(allowance, limit, _scores(shift, clip), CUSUM_STATES)
    ratio = ((4 * CUSUM_STATES - 1) / (2 * CUSUM_STATES - 1)) ** 2
    return fine + (fine - coarse) / (ratio - 1)


def _cusum_chain(allowance: float, limit: float, below: Distribution, states: int) -> float:
    """States at 0, w, 2w ...; the lowest takes all that falls below w/2."""
    width = 2 * limit / (2 * states - 1)
    steps = np.arange(-states, states, dtype=np.float64)
    reach = below((steps + 0.5) * width + allowance)
    move = np.arange(states)[None, :] - np.arange(states)[:, None] + states
    chain = reach[move] - reach[move - 1]
    chain[:, 0] = reach[move[:, 0]]
    return float(_absorbed_after(chain)[0])


def _ewma_length(weight: float, width: float, shift: float, two_sided: bool, clip: float) -> float:
    """Extrapolated in the width of the states where scores are not clipped."""
    arguments = (weight, width, _scores(shift, clip), two_sided)
    fine = _ewma_chain(*arguments, 2 * EWMA_STATES + 1)
    if math.isfinite(clip):
        return fine
    coarse = _ewma_chain(*arguments, EWMA_STATES)
    ratio = ((2 * EWMA_STATES + 1) / EWMA_STATES) ** 2
    return fine + (fine - coarse) / (ratio - 1)


def _ewma_chain(weight: float, width: float, below: Distribution, two_sided: bool, states: int) -> float:
    limit = width * ewma_spread(weight)
    lowest = -limit if two_sided else -LOWEST_OF_ONE_SIDED * ewma_spread(weight)
    edges = np.linspace(lowest, limit, states + 1, dtype=np.float64)
    middles = (edges[1:] + edges[:-1]) / 2
    reach = below((edges[None, :] - (1 - weight) * middles[:, None]) / weight)
    if not two_sided:
        reach[:, 0] = 0.0
    lengths = _absorbed_after(np.diff(reach, axis=1))
    return float(np.interp(0.0, middles, lengths))


def _absorbed_after(chain: FloatArray) -> FloatArray:
    """Mean steps to absorption from each state."""
    states = chain.shape[0]
    return np.asarray(np.linalg.solve(np.eye(states) - chain, np.ones(states)), dtype=np.float64)
