"""Urea in two pools while the outer one fills or drains at a constant rate: the exact passage of one phase.

Between two switches of the pump the extracellular volume is w(t) = w0 + s t and, per unit of generation,

    w dCe/dt  = 1 - (K + s) Ce + X (Ci - Ce)          dCi/dt = k (Ce - Ci),    k = X / Vi

with K the clearance in force, X the exchange between the pools and Vi the constant intracellular volume.
As a function of w, Ci obeys Kummer's equation (Abramowitz and Stegun 13.1.1) with a = (K + s)/s,
b = (K + s + X)/s, z = -k w/s. Nothing here divides by s, so an unchanging volume is no special case:

* The slow solution has Ci' = -(K + s) r Ci. Each derivative of Kummer's equation is one of the same kind,
  which turns r into the continued fraction r = k/(B_1 - w r_1), r_n = k (K + (n+1) s)/(B_(n+1) - w r_(n+1)),
  B_n = K + X + k w + n s. A step shrinks its error by the ratio of the slow to the fast rate, below 0.25 for
  any split of the volume; the tail is closed with the root of r_n = r_(n+1).
* The fast solution is exp(z) z^(1-b) times a slow one with the sign of s turned (13.1.18), so the same
  fraction gives its rate f = k + (K + X)/w - q.
* What remains are integrals of r and q over the phase, smooth in w: Gauss-Lobatto sums.
* 1/(K + s) is a particular solution; the forced part is written with (1 - exp(-x))/x, whole at K + s = 0.

Volumes L, time min, clearances and exchange L/min, concentrations mmol/L of plasma water per mmol/min made.
Arrays have phases first and rows (patients or schedules) last.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre

from dosing.science.results import FloatArray


def _lobatto(count: int) -> tuple[FloatArray, FloatArray]:
    """Points on [0, 1], and the matrix whose row i integrates from 0 to point i; its last row is the sum."""
    inner = legendre.Legendre.basis(count - 1).deriv().roots()
    points = np.concatenate([[-1.0], np.real(inner), [1.0]])
    powers = legendre.legvander(points, count - 1)
    integrals = np.stack([legendre.legval(points, legendre.legint(e, lbnd=-1)) for e in np.eye(count)], axis=1)
    return (points + 1) / 2, np.asarray(integrals @ np.linalg.inv(powers) / 2)


@dataclass(frozen=True, slots=True, eq=False)
class QuadratureRule:
    """How finely a phase is worked out."""

    depth: int
    """steps of the continued fraction"""
    points: FloatArray
    """of the Gauss-Lobatto sums on [0, 1], both ends among them"""
    integral: FloatArray
    """row i integrates from 0 to point i"""


FINE = QuadratureRule(10, *_lobatto(9))
"""The rates are exact to rounding for usual treatments, to 1e-9 at the edge of the range in `dosing.science.schedule`,
where fluid leaves a tenth as fast as clearance and exchange."""
ROUGH = QuadratureRule(4, *_lobatto(5))
"""For slopes: their relative error stays below 1e-4."""


@dataclass(frozen=True, slots=True, eq=False)
class Phases:
    """Stretches of time with one clearance and one rate of filling; all arrays broadcast to (..., rows)."""

    minutes: FloatArray
    volume: FloatArray
    """extracellular volume at the start [L]"""
    slope: FloatArray
    """its rate of change [L/min]"""
    clearance: FloatArray
    """dialyser and kidney together [L/min]"""
    exchange: FloatArray
    """X, between the pools [L/min]"""
    turnover: FloatArray
    """k = X/Vi [1/min]"""


@dataclass(frozen=True, slots=True, eq=False)
class Passage:
    """The two solutions over each phase. In both Ci starts at 1; pairs are values at its [start, end]."""

    rule: QuadratureRule
    loss: FloatArray
    """K + s [L/min]"""
    slow: FloatArray
    """Ci of the slow solution at the end"""
    fast: FloatArray
    """Ci of the fast solution at the end"""
    slow_lag: FloatArray
    """pair: r/k of the slow solution, where Ce = (1 - loss r/k) Ci"""
    fast_outer: FloatArray
    """pair: Ce/Ci of the fast solution"""
    settled: FloatArray
    """(1 - slow solution)/loss from the start to each point, shape (points, ...)"""
    level_slow: FloatArray
    """share of the slow solution in Ce = Ci = 1"""
    level_fast: FloatArray
    """share of the fast one in it, divided by loss"""
    fast_exposure: FloatArray
    """integral of Ce of the fast solution over the phase [min]"""

    @property
    def slow_outer(self) -> FloatArray:
        """Pair: Ce/Ci of the slow solution."""
        return np.asarray(1 - self.loss * self.slow_lag)


def _fraction_tail(volume: FloatArray, p: Phases, depth: int) -> FloatArray:
    """w r_1 of the slow and of the fast solution's factor, shape (2, points, ...)."""
    signed = np.stack([p.slope, -p.slope])[:, None]
    lift = p.turnover * volume
    step = signed * lift
    above = (np.stack([p.clearance, p.clearance + p.slope])[:, None] + (depth + 1) * signed) * lift
    below = (p.clearance + p.exchange + lift) + (depth + 1) * signed
    tail = 2 * above / (below + np.sqrt(below * below - 4 * above))
    for _ in range(depth - 1):
        above -= step
        below -= signed
        np.subtract(below, tail, out=tail)
        np.divide(above, tail, out=tail)
    return np.asarray(tail)


def _share_lost(x: FloatArray) -> FloatArray:
    """(1 - exp(-x))/x, 1 at x = 0."""
    safe = np.where(x == 0, 1.0, x)
    return np.where(x == 0, 1.0, -np.expm1(-safe) / safe)


def _log_growth(x: FloatArray) -> FloatArray:
    """log(1 + x)/x, 1 at x = 0."""
    safe = np.where(x == 0, 1.0, x)
    return np.where(x == 0, 1.0, np.log1p(safe) / safe)


def _integrate(values: FloatArray, minutes: FloatArray, rule: QuadratureRule) -> FloatArray:
    """Integral from the start of the phase to each point, shape as values (points first)."""
    flat = rule.integral @ values.reshape(rule.points.size, math.prod(values.shape[1:]))
    return np.asarray(flat.reshape(values.shape) * minutes)


def passage(p: Phases, rule: QuadratureRule = FINE) -> Passage:
    """Both solutions of each phase. Zero minutes give the identity."""
    points = rule.points.reshape((-1,) + (1,) * p.minutes.ndim)
    volume = p.volume + (p.slope * p.minutes) * points
    tail = _fraction_tail(volume, p, rule.depth)
    loss = p.clearance + p.slope
    leak = p.clearance + p.exchange
    over = leak + p.turnover * volume
    rate = p.turnover / (over + p.slope - tail[0])
    fast_below = over - p.slope - tail[1]
    defect = p.clearance * p.turnover / fast_below
    drift = _integrate(rate, p.minutes, rule)
    settled = drift * _share_lost(loss * drift)

    filling = leak * p.minutes / p.volume * _log_growth(p.slope * p.minutes / p.volume)
    fast = np.exp(_integrate(defect, p.minutes, rule)[-1] - p.turnover * p.minutes - filling)
    ends = (0, -1)
    excess = leak / volume[ends, ...] - defect[ends, ...]
    gap = p.turnover + excess[0] - loss * rate[0]
    reach = (leak - p.slope - tail[1][ends, ...]) / (p.turnover * fast_below[ends, ...])
    return Passage(
        rule=rule,
        loss=loss,
        slow=np.exp(-loss * drift[-1]),
        fast=fast,
        slow_lag=rate[ends, ...] / p.turnover,
        fast_outer=-excess / p.turnover,
        settled=settled,
        level_slow=(p.turnover + excess[0]) / gap,
        level_fast=-rate[0] / gap,
        fast_exposure=fast * reach[1] - reach[0],
    )


def transition(o: Passage) -> FloatArray:
    """Map of (Ce, Ci, 1) over each phase for one unit of generation, shape (3, 3, ...)."""
    (slow_from, slow_to), (fast_from, fast_to) = o.slow_outer, o.fast_outer
    slow, fast = o.slow / (slow_from - fast_from), o.fast / (slow_from - fast_from)
    made_inner = o.level_slow * o.settled[-1] + o.level_fast * (1 - o.fast)
    made_lag = o.level_slow * o.slow * o.slow_lag[1] + o.level_fast * o.fast * (1 - fast_to)
    zero = np.zeros_like(slow)
    outer = [slow_to * slow - fast_to * fast, slow_from * fast_to * fast - fast_from * slow_to * slow]
    inner = [slow - fast, slow_from * fast - fast_from * slow]
    return np.stack(
        [
            np.stack([*outer, made_inner + made_lag]),
            np.stack([*inner, made_inner]),
            np.stack([zero, zero, zero + 1]),
        ]
    )


def exposure(p: Phases, o: Passage, outer: FloatArray, inner: FloatArray) -> FloatArray:
    """Integral of Ce over each phase [mmol min/L] from the concentrations at its start, one unit made.

    It comes from the two solutions, not from what went missing, so a mass balance checks it.
    """
    slow_from, fast_from = o.slow_outer[0], o.fast_outer[0]
    slow = (outer - fast_from * inner) / (slow_from - fast_from)
    settling = _integrate(o.settled, p.minutes, o.rule)[-1]
    slow_exposure = p.minutes - o.loss * (settling + o.settled[-1] / p.turnover)
    held = slow * slow_exposure + (inner - slow) * o.fast_exposure
    made = o.level_slow * (settling + o.settled[-1] / p.turnover)
    return np.asarray(held + made + o.level_fast * (p.minutes - o.fast_exposure))
