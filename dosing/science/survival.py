"""Rates of rare events and time to an event: infections per 1000 access-days, survival of an access."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dosing.science.beta import beta_quantile
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


@dataclass(frozen=True, slots=True)
class ShareInterval:
    """A share with limits, each a Measure [1] of the same shape."""

    share: Measure
    low: Measure
    high: Measure


@quiet
def exact_share(*, share: ArrayLike, of: ArrayLike, confidence: float = 0.95) -> ShareInterval:
    """A share with the exact binomial interval of Clopper and Pearson.

    low = B(alpha/2; x, n - x + 1), high = B(1 - alpha/2; x + 1, n - x), x = share n, B the quantile of the beta
    distribution; low is 0 for none, high is 1 for all: few never look like sure. share: 0 to 1; of: n, above zero,
    whole or an effective number (Dorey and Korn 1987); confidence: 0.5 to 0.9999.
    Source: Clopper and Pearson, Biometrika 26:404-13, 1934 (from memory; checked against SciPy).

    >>> found = exact_share(share=1.0, of=8, confidence=0.9)
    >>> [round(m.number, 4) for m in (found.share, found.low, found.high)]
    [1.0, 0.6877, 1.0]
    """
    part, n = as_float(share, of)
    checks = within(0, 1, "", share_of_them=part) + above_zero(number_of_them=n)
    checks += within(0.5, 0.9999, "", confidence=np.full(part.shape, confidence))
    tail = np.full(part.shape, (1 - confidence) / 2)
    x = np.clip(np.nan_to_num(part, nan=0.5), 0, 1) * np.where(n > 0, n, 1.0)
    rest = np.where(n > 0, n, 1.0) - x
    low = np.where(x > 0, beta_quantile(p=tail, a=np.maximum(x, 1e-9), b=rest + 1), 0.0)
    high = np.where(rest > 0, beta_quantile(p=1 - tail, a=x + 1, b=np.maximum(rest, 1e-9)), 1.0)
    return ShareInterval(*(measure(value, "1", checks) for value in (part, low, high)))


@dataclass(frozen=True, slots=True)
class Incidence:
    """Cumulative incidence of each of several events that exclude one another, at chosen times.

    share, low, high: Measures [1] of shape (events, times); at_risk: of the times, how many are still followed there.
    """

    share: Measure
    low: Measure
    high: Measure
    at_risk: FloatArray


@quiet
def cumulative_incidence(
    *, times: ArrayLike, event: ArrayLike, events: int, at: ArrayLike, confidence: float = 0.95
) -> Incidence:
    """Share of people to whom each event has happened by a time, the others competing (Aalen and Johansen).

    F_k(t) = sum of S(u-) d_k(u)/n(u) over the times u up to t, S without any event. times: shape (rows,), not negative;
    event: 0 censored, 1 to `events` which of them; at: shape (times,). The interval is the exact one of the share at
    the effective number n(t)/S(t), which widens as people are no longer followed; unknown where nobody is.
    Rows with an input that cannot be used raise ValueError. Source: Aalen and Johansen, Scand J Statist 5:141-50, 1978;
    Dorey and Korn, Stat Med 6:679-87, 1987 (from memory; checked against printed values of a general library).

    >>> found = cumulative_incidence(times=[1, 2, 3, 4], event=[1, 2, 0, 1], events=2, at=[2.5])
    >>> found.share.value.tolist(), found.at_risk.tolist()
    ([[0.25], [0.25]], [2.0])
    """
    time, what = (np.atleast_1d(x) for x in as_float(times, event))
    if not (np.isfinite(time) & (time >= 0) & np.isin(what, np.arange(events + 1))).all():
        raise ValueError(f"times must be 0 or more and events 0 to {events}")
    moments = np.unique(time[what > 0])
    at_risk = time.size - np.searchsorted(np.sort(time), moments, side="left")
    happened = np.array([[((time == u) & (what == k)).sum() for u in moments] for k in range(1, events + 1)], float)
    free = np.cumprod(1 - happened.sum(axis=0) / np.maximum(at_risk, 1))
    before = np.concatenate([[1.0], free[:-1]]) if moments.size else free
    grown = np.cumsum(before * happened / np.maximum(at_risk, 1), axis=1)
    asked = np.atleast_1d(np.asarray(at, dtype=np.float64))
    place = np.searchsorted(moments, asked, side="right")
    share = np.hstack([np.zeros((events, 1)), grown])[:, place]
    left = np.concatenate([[1.0], free])[place]
    still = (time.size - np.searchsorted(np.sort(time), asked, side="left")).astype(np.float64)
    return _with_exact(share, still, left, confidence)


def _with_exact(share: FloatArray, still: FloatArray, left: FloatArray, confidence: float) -> Incidence:
    """Shares with their interval at the effective number; unknown from where nobody is followed."""
    number = np.where(left > 0, still / np.where(left > 0, left, 1.0), 0.0)
    nobody = [(np.broadcast_to(still == 0, share.shape), Reason("nobody_so_long"))]
    found = exact_share(share=share, of=np.where(still > 0, np.maximum(number, 1.0), 1.0), confidence=confidence)
    known, low, high = (measure(each.value, "1", nobody) for each in (found.share, found.low, found.high))
    return Incidence(known, low, high, still)
