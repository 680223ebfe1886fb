"""A second way to make up patients, written apart from that of `alert_quality.py`, and patients with several signs.

Here the level wanders as a Gauss-Markov process of forty nights (there as a sine of 60 to 240), noise has heavy tails
(Student's t with four degrees), wild nights come in runs of one to three, holidays leave gaps, and blood flow, needle
and access change at times of their own. Sizes without a published source are assumed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dosing.science import trends as w
from dosing.science.sources import VENOUS_FLOW_SLOPE

NIGHTS = 200
RELAXES = 40
"""Nights after which a wandering level has forgotten two thirds of where it was."""
PER_MMHG = 1 / 9
"""A wander of one mmHg, in scatters of a night: of the venous pressure 9 mmHg; other signs wander as much by theirs."""


@dataclass(frozen=True)
class Sign:
    """One quantity: how it scatters [unit], how it drifts a night and how far, how much it falls or rises on a wild
    night; flow: change by blood flow [unit per mL/min]; resets: whether needles and access change its level.
    """

    key: str
    watch: w.Watch
    noise: float
    per_night: float
    most: float
    wild: float
    flow: float = 0.0
    resets: bool = True


@dataclass(frozen=True)
class Happens:
    """What is there or not in a night, or counted: how often before, and how much more often a night, at most."""

    key: str
    watch: w.Watch
    usual: float
    per_night: float
    most: float
    size: float
    base: float = 0.0


@dataclass(frozen=True)
class Many:
    """values, expected, segment: (signs, patients, nights), in the order of the signs; onset: NIGHTS where none."""

    watches: list[w.Watch]
    keys: list[str]
    values: np.ndarray
    expected: np.ndarray
    segment: np.ndarray
    onset: np.ndarray


VENOUS_SLOPE = float(VENOUS_FLOW_SLOPE[15])
ACCESS = (
    Sign("venous", w.VENOUS_PRESSURE, 9, 1.5, 60, 40, flow=VENOUS_SLOPE),
    # An outflow that narrows leaves the arterial pressure as it is.
    Sign("arterial", w.ARTERIAL_PRESSURE, 12, 0, 60, -40, flow=-0.556),
    Sign("clearance", w.CLEARANCE, 9, -1.8, 36, -40, flow=0.3, resets=False),
    Sign("bleeding", w.BLEEDING_TIME, 3, 0.3, 12, 12),
    Happens("attempts", w.ATTEMPTS, 0.08, 0.012, 0.4, 1, base=2),
    Happens("pain", w.PAIN, 0.3, 0.02, 0.5, 2, base=2),
    Happens("found", w.FOUND_AT_ACCESS, 0.01, 0.006, 0.25, 100),
)
"""An outflow that narrows, with the rise of the goal: sizes of the other signs assumed."""
TOO_HIGH = (
    # A kilogram of flesh a month, 7.5 mmHg a kilogram; after treatment the same.
    Sign("systolic", w.SYSTOLIC, 14, 0.375, 22.5, 45, resets=False),
    Sign("post_systolic", w.POST_SYSTOLIC, 14, 0.375, 22.5, 45, resets=False),
    Sign("post_weight", w.POST_WEIGHT, 0.3, 0.004, 0.3, 1.5, resets=False),
)
TOO_LOW = (
    Sign("systolic", w.SYSTOLIC, 14, -0.5, 25, -45, resets=False),
    Sign("post_systolic", w.POST_SYSTOLIC, 14, -0.5, 25, -45, resets=False),
    Sign("lowest", w.LOWEST_SYSTOLIC, 14, -0.6, 30, -45, resets=False),
    Happens("felt", w.FELT, 0.06, 0.012, 0.4, 100),
    Sign("gain", w.GAIN, 0.8, 0.015, 1.2, 3, resets=False),
)
SHARED = 0.4
"""Of the variance of pressures of one night, what they share (assumed)."""


def wandering(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    """A Gauss-Markov process of unit variance."""
    keep = np.exp(-1 / RELAXES)
    path = rng.standard_normal(shape)
    for night in range(1, shape[1]):
        path[:, night] = keep * path[:, night - 1] + np.sqrt(1 - keep**2) * path[:, night]
    return path


def noise(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    """Student's t with four degrees, of unit variance, each night a fifth of the night before."""
    fresh = rng.standard_t(4, shape) / np.sqrt(2)
    path = fresh.copy()
    for night in range(1, shape[1]):
        path[:, night] = 0.2 * path[:, night - 1] + np.sqrt(1 - 0.04) * fresh[:, night]
    return path


def wild_runs(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    """Whether a night is wild: runs of one to three that begin on one night in sixty."""
    begins, length = rng.random(shape) < 1 / 60, rng.integers(1, 4, shape)
    wild = begins.copy()
    for back in (1, 2):
        wild[:, back:] |= begins[:, :-back] & (length[:, :-back] > back)
    return wild


def gaps(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    """One night in thirty, and a holiday of a week or two for every third patient."""
    missed, night = rng.random(shape) < 1 / 30, np.arange(shape[1])
    began = np.where(rng.random(shape[0]) < 1 / 3, rng.integers(15, shape[1], shape[0]), shape[1])[:, None]
    return missed | ((night >= began) & (night < began + rng.integers(4, 11, shape[0])[:, None]))


def changes_of(rng: np.random.Generator, onset: np.ndarray, changes: bool) -> tuple[np.ndarray, np.ndarray]:
    """Blood flow less 300 [mL/min], and whether needle or access are new by then."""
    count, night = onset.size, np.arange(NIGHTS)
    flow = rng.normal(0, 8, (count, NIGHTS))
    if not changes:
        return flow, np.zeros((count, NIGHTS), dtype=bool)
    for _step in range(2):
        at = rng.integers(10, 2 * NIGHTS, count)[:, None]
        flow = flow + np.where(night >= at, rng.choice([-40.0, 40.0], count)[:, None], 0)
    at = np.where(rng.random(count) < 0.5, rng.integers(10, np.minimum(onset, NIGHTS - 1)), NIGHTS)
    return flow, night >= at[:, None]


def many_signs(signs: tuple[Sign | Happens, ...], count: int, seed: int, *, wander_mmhg: float, changes: bool) -> Many:
    """Four in five fall ill on a night from 40 to 139; of signs that share a night the pressures share their noise."""
    rng = np.random.default_rng([seed, len(signs), 2])
    onset = np.where(rng.random(count) < 0.8, rng.integers(40, 140, count), NIGHTS)
    ill = np.maximum(np.arange(NIGHTS) - onset[:, None] + 1, 0)
    flow, fresh = changes_of(rng, onset, changes)
    missed, shared = gaps(rng, ill.shape), noise(rng, ill.shape)
    values, expected, segment = [], [], []
    for sign in signs:
        known = np.full(ill.shape, np.nan)
        if isinstance(sign, Happens):
            chance = sign.usual + np.clip(sign.per_night * ill, 0, sign.most)
            known = sign.base + sign.size * (rng.random(ill.shape) < chance)
        else:
            known = _of_sign(rng, sign, ill, shared, wander_mmhg)
            known += sign.flow * rng.normal(1.05, 0.2, count)[:, None] * flow
            known += np.where(fresh & sign.resets, rng.normal(0, 2 * sign.noise, count)[:, None], 0)
        values.append(np.where(missed, np.nan, known))
        expected.append(getattr(sign, "flow", 0.0) * flow)
        segment.append(np.where(fresh & getattr(sign, "resets", True), 1, 0))
    return Many(
        [sign.watch for sign in signs],
        [sign.key for sign in signs],
        np.array(values),
        np.array(expected),
        np.array(segment),
        onset,
    )


def _of_sign(rng: np.random.Generator, sign: Sign, ill: np.ndarray, shared: np.ndarray, wander: float) -> np.ndarray:
    own = noise(rng, ill.shape)
    if sign.key in ("systolic", "post_systolic", "lowest"):
        own = np.sqrt(SHARED) * shared + np.sqrt(1 - SHARED) * own
    size = sign.noise * np.exp(rng.normal(0, 0.15, len(ill)))[:, None]
    level = rng.normal(0, 2 * sign.noise, len(ill))[:, None]
    level = level + wander * PER_MMHG * sign.noise * wandering(rng, ill.shape)
    drift = np.sign(sign.per_night) * np.clip(abs(sign.per_night) * ill, 0, sign.most)
    return level + size * own + drift + sign.wild * wild_runs(rng, ill.shape)
