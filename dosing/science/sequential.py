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

from dosing.science.results import FloatArray

CUSUM_STATES = 120
EWMA_STATES = 101
LOWEST_OF_ONE_SIDED = 6.0
"""A one-sided EWMA is held at this many of its standard deviations below the target: it never gets there by chance."""
CLOSE = 1e-5
"""How near a designed limit is brought to the one that gives the wanted run length."""
_erf = np.vectorize(math.erf, otypes=[np.float64])
Distribution = Callable[[FloatArray], FloatArray]


def ewma_spread(weight: float) -> float:
    """Standard deviation of an EWMA of independent scores after many nights: sqrt(w/(2 - w)).

    >>> round(ewma_spread(0.2), 6)
    0.333333
    """
    return math.sqrt(weight / (2 - weight))


def cusum_run_length(*, allowance: float, limit: float, shift: float = 0.0, clip: float = math.inf) -> float:
    """Mean number of nights until C > h for independent normal scores whose mean has shifted [nights].

    allowance: k >= 0; limit: h > 0; shift: in standard deviations; clip: scores beyond it count as it, as the
    winsorised chart does, and it lies above k. One-sided; two sides together are 1/L = 1/L+ + 1/L-. Raises ValueError.
    Source: Brook and Evans 1972, extrapolated in the width of the states where scores are not clipped.

    >>> round(cusum_run_length(allowance=0.5, limit=4), 2)
    335.37
    """
    if not (0 <= allowance < clip and limit > 0):
        raise ValueError(f"a CUSUM wants 0 <= k < clip and h > 0, not k {allowance:g}, clip {clip:g}, h {limit:g}")
    fine = _cusum_chain(allowance, limit, _scores(shift, clip), 2 * CUSUM_STATES)
    if math.isfinite(clip):
        # The heap of clipped scores falls into one state: what a finer cut gains is not smooth.
        return fine
    coarse = _cusum_chain(allowance, limit, _scores(shift, clip), CUSUM_STATES)
    ratio = ((4 * CUSUM_STATES - 1) / (2 * CUSUM_STATES - 1)) ** 2
    return fine + (fine - coarse) / (ratio - 1)


def ewma_run_length(
    *, weight: float, width: float, shift: float = 0.0, two_sided: bool = True, clip: float = math.inf
) -> float:
    """Mean number of nights until an EWMA passes its fixed limit, for independent normal scores with a shifted mean.

    weight: w, above 0 to 1; width: L, the limit in units of `ewma_spread`, below the clip; shift and clip: as in
    `cusum_run_length`. The chart starts on target. Raises ValueError. Source: Lucas and Saccucci, Technometrics
    1990;32:1, extrapolated in the width of the states where scores are not clipped.

    >>> round(ewma_run_length(weight=0.5, width=3.071, shift=1.0), 1)
    17.5
    """
    if not (0 < weight <= 1 and 0 < width * ewma_spread(weight) < clip):
        given = f"w {weight:g}, L {width:g}, clip {clip:g}"
        raise ValueError(f"an EWMA wants 0 < w <= 1 and a limit above 0 and below the clip, not {given}")
    arguments = (weight, width, _scores(shift, clip), two_sided)
    fine = _ewma_chain(*arguments, 2 * EWMA_STATES + 1)
    if math.isfinite(clip):
        return fine
    coarse = _ewma_chain(*arguments, EWMA_STATES)
    ratio = ((2 * EWMA_STATES + 1) / EWMA_STATES) ** 2
    return fine + (fine - coarse) / (ratio - 1)


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
    return _solve(lambda h: cusum_run_length(allowance=allowance, limit=h, clip=clip), one_sided, 0.01, 40.0)


@lru_cache(maxsize=64)
def _ewma_width(weight: float, run_length: float, two_sided: bool, clip: float) -> float:
    highest = min(6.0, 0.999 * clip / ewma_spread(weight))

    def length(width: float) -> float:
        return ewma_run_length(weight=weight, width=width, two_sided=two_sided, clip=clip)

    return _solve(length, run_length, 0.05, highest)


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


def _cusum_chain(allowance: float, limit: float, below: Distribution, states: int) -> float:
    """States at 0, w, 2w ...; the lowest takes all that falls below w/2."""
    width = 2 * limit / (2 * states - 1)
    steps = np.arange(-states, states, dtype=np.float64)
    reach = below((steps + 0.5) * width + allowance)
    move = np.arange(states)[None, :] - np.arange(states)[:, None] + states
    chain = reach[move] - reach[move - 1]
    chain[:, 0] = reach[move[:, 0]]
    return float(_absorbed_after(chain)[0])


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
