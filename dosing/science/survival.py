"""Rates of rare events and time to an event: infections per 1000 access-days, survival of an access."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dosing.science.checks import above_zero, given, not_negative, quiet, within
from dosing.science.gamma import gamma_quantile
from dosing.science.reasons import Reason
from dosing.science.results import FloatArray, Measure, as_float, measure

MOST_EVENTS = 100_000


@dataclass(frozen=True, slots=True)
class RateInterval:
    """A rate with its exact limits, each a Measure of the same shape and unit."""

    rate: Measure
    low: Measure
    high: Measure


@quiet
def poisson_rate(
    *, events: ArrayLike, exposure: ArrayLike, per: float = 1000.0, confidence: float = 0.95
) -> RateInterval:
    """Events per exposure with Garwood's exact Poisson interval.

    low = chi2(alpha/2; 2x)/2, high = chi2(1 - alpha/2; 2x + 2)/2, both times per/exposure; low 0 for x = 0.
    events: x, whole, 0 to 100 000; exposure: above zero, such as access-days; shapes broadcast; per: unit of the
    rate; confidence: 0.5 to 0.9999. Holds for independent events; repeats in one patient make it too narrow.
    Source: Garwood, Biometrika 28:437-42, 1936 (from memory; checked against SciPy).

    >>> interval = poisson_rate(events=3, exposure=12_000)
    >>> [round(m.number, 4) for m in (interval.rate, interval.low, interval.high)]
    [0.25, 0.0516, 0.7306]
    """
    x, days = as_float(events, exposure)
    checks = within(0, MOST_EVENTS, "", events=x) + above_zero(exposure=days)
    checks += within(0.5, 0.9999, "", confidence=np.full(x.shape, confidence))
    checks.append((x != np.floor(x), Reason("not_whole", what="events")))
    values = (x, *_garwood(x, confidence))
    return RateInterval(*(measure(v * per / days, f"1/{per:g}", checks) for v in values))


def _garwood(events: FloatArray, confidence: float) -> tuple[FloatArray, FloatArray]:
    """Limits of the expected count; each different count is worked out once."""
    usable = np.isfinite(events) & (events >= 0) & (events <= MOST_EVENTS)
    counts, place = np.unique(np.where(usable, np.floor(events), 0.0), return_inverse=True)
    tail = np.full(counts.shape, (1 - confidence) / 2 if 0.5 <= confidence <= 0.9999 else 0.025)
    low = np.where(counts > 0, gamma_quantile(tail, np.maximum(counts, 1.0)), 0.0)
    high = gamma_quantile(1 - tail, counts + 1)
    return low[place].reshape(events.shape), high[place].reshape(events.shape)


@dataclass(frozen=True, slots=True)
class SurvivalCurve:
    """Kaplan-Meier estimate at the times of events, all arrays of shape (event times,).

    at_risk and events are counts; survival, low and high Measures [1]. left_out: input rows that could not
    be used, by reason.
    """

    times: FloatArray
    at_risk: FloatArray
    events: FloatArray
    survival: Measure
    low: Measure
    high: Measure
    left_out: dict[Reason, NDArray[np.intp]]


@quiet
def kaplan_meier(
    *, times: ArrayLike, observed: ArrayLike, confidence: float = 0.95, band: str = "log-log"
) -> SurvivalCurve:
    """Share without the event over time, with Greenwood's pointwise band.

    S(t) = product of (1 - d/n); Var ln S = sum of d/(n (n - d)). times: shape (rows,), not negative;
    observed: 1 event, 0 censored; band: "log-log" keeps within 0 to 1, "plain" is S +- z SE cut to 0 to 1.
    Rows with a missing or impossible input are left out and named; ValueError for an unknown band. Where all
    at risk had the event the band is unknown. Source: Kaplan and Meier, J Am Stat Assoc 53:457, 1958;
    Greenwood 1926 (from memory; checked against SciPy and published data).

    >>> curve = kaplan_meier(times=[6, 6, 6, 6, 7, 9, 10], observed=[1, 1, 1, 0, 1, 0, 1])
    >>> curve.times.tolist(), curve.survival.value.round(4).tolist()
    ([6.0, 7.0, 10.0], [0.5714, 0.381, 0.0])
    """
    if band not in ("log-log", "plain") or not 0.5 <= confidence <= 0.9999:
        raise ValueError(f"band is log-log or plain and confidence 0.5 to 0.9999, not {band!r}, {confidence}")
    time, event = (np.atleast_1d(x) for x in as_float(times, observed))
    checks = not_negative(time=time) + given(observed=event)
    usable = measure(time, "1", [*checks, ((event != 0) & (event != 1), Reason("neither_0_nor_1", what="observed"))])
    time, event = time[usable.known], event[usable.known]
    moments = np.unique(time[event == 1])
    at_risk = (time.size - np.searchsorted(np.sort(time), moments, side="left")).astype(np.float64)
    ended = np.sort(time[event == 1])
    events = np.searchsorted(ended, moments, side="right") - np.searchsorted(ended, moments, side="left")
    share = np.cumprod(1 - events / at_risk).astype(np.float64)
    low, high = _greenwood(share, at_risk, events.astype(np.float64), confidence, band)
    return SurvivalCurve(
        times=moments,
        at_risk=at_risk,
        events=events.astype(np.float64),
        survival=measure(share, "1"),
        low=low,
        high=high,
        left_out=usable.unknown_rows(),
    )


def _greenwood(
    share: FloatArray, at_risk: FloatArray, events: FloatArray, confidence: float, band: str
) -> tuple[Measure, Measure]:
    z = NormalDist().inv_cdf(0.5 + confidence / 2)
    checks = [(share <= 0, Reason("nobody_at_risk"))]
    spread = z * np.sqrt(np.cumsum(events / (at_risk * (at_risk - events))))
    if band == "plain":
        low, high = share * (1 - spread), share * (1 + spread)
        return measure(np.maximum(low, 0), "1", checks), measure(np.minimum(high, 1), "1", checks)
    shift = np.exp(spread / np.log(share))
    return measure(share ** (1 / shift), "1", checks), measure(share**shift, "1", checks)


@quiet
def survival_at(*, curve: SurvivalCurve, times: ArrayLike) -> Measure:
    """Share without the event at chosen times [1]; the estimate holds its value until the next event.

    times: any shape, not negative. After the last event time the last value is given.

    >>> curve = kaplan_meier(times=[6, 6, 6, 6, 7, 9, 10], observed=[1, 1, 1, 0, 1, 0, 1])
    >>> survival_at(curve=curve, times=[5, 6.5]).value.round(4).tolist()
    [1.0, 0.5714]
    """
    (time,) = as_float(times)
    steps = np.concatenate([[1.0], curve.survival.value])
    return measure(steps[np.searchsorted(curve.times, time, side="right")], "1", not_negative(time=time))
