"""What went through the circuit: blood processed, dialysate and substitution fluid, blood cleared by the machine."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.checks import given, quiet, within
from dosing.science.reasons import Reason
from dosing.science.results import Check, FloatArray, Measure, as_float, measure

LONGEST_MINUTES = 1440.0


@quiet
def blood_processed_l(
    *,
    flows_ml_min: ArrayLike,
    minutes_at: ArrayLike,
    end_minute: ArrayLike,
    start_minute: ArrayLike = 0.0,
) -> Measure:
    """Blood pumped over a treatment from readings of the flow: the integral of Qb dt [L].

    flows_ml_min, minutes_at: shape (..., readings), the flow read [mL/min, 0 to 700] and when [min], in order
    of time; end_minute, start_minute: shape (...). Rows with fewer readings are padded at the end with NaN in
    both. The first reading holds back to the start, the last on to the end. Between two readings the rule is
    the trapezoid: a change of the pump between them happened at a moment nobody noted, and for a moment that
    is equally likely anywhere the mean of the two flows is right, while holding the old flow is not.
    Source: arithmetic; 300 mL/min for 240 min is 72.0 L.

    >>> blood_processed_l(flows_ml_min=[200, 300], minutes_at=[60, 180], end_minute=240).number
    60.0
    """
    flows, times = (np.atleast_1d(x) for x in as_float(flows_ml_min, minutes_at))
    end, start = as_float(end_minute, start_minute)
    if flows.shape[-1] == 0:
        flows, times = (np.full((*flows.shape[:-1], 1), np.nan) for _ in range(2))
    shape = np.broadcast_shapes(flows.shape[:-1], end.shape)
    flows, times = (np.broadcast_to(x, (*shape, x.shape[-1])) for x in (flows, times))
    end, start = np.broadcast_to(end, shape), np.broadcast_to(start, shape)
    checks = _readings_checks(flows, times, start, end)
    return measure(_trapezoid(flows, times, start, end) / k.ML_PER_L, "L", checks)


@quiet
def clearance_from_ktv(*, ktv: ArrayLike, minutes: ArrayLike, volume_l: ArrayLike) -> Measure:
    """Mean clearance that a machine's own Kt/V stands for, by the definition of Kt/V: K = Kt/V V/t [mL/min].

    ktv: above 0 to 10; minutes: length of the treatment, 60 to 1440, as shorter ones say little; volume_l: V [L, 10 to
    100]. Shapes broadcast. The machine divided by a V of its own, which is not known here: K is good for comparing one
    patient's nights while that V stays as it is, and not for its absolute size.
    Source: definition of Kt/V, Gotch and Sargent, Kidney Int 28:526-34, 1985 (from memory).

    >>> clearance_from_ktv(ktv=1.2, minutes=240, volume_l=40).number
    200.0
    """
    dose, t, volume = as_float(ktv, minutes, volume_l)
    checks = [
        *within(0, 10, kt_over_v_of_the_machine=dose),
        (dose == 0, Reason("not_above_zero", what="kt_over_v_of_the_machine")),
    ]
    checks += within(60, LONGEST_MINUTES, "minutes", time=t) + within(10, 100, "L", volume=volume)
    return measure(dose * volume * k.ML_PER_L / t, "mL/min", checks)


def _readings_checks(flows: FloatArray, times: FloatArray, start: FloatArray, end: FloatArray) -> list[Check]:
    no_flow, no_time = np.isnan(flows), np.isnan(times)
    checks = given(start_of_treatment=start, end_of_treatment=end)
    checks.append((no_flow[..., 0] & no_time[..., 0], Reason("no_flow_reading")))
    checks.append(((no_flow != no_time).any(-1), Reason("reading_incomplete")))
    checks.append(((~no_flow[..., 1:] & no_flow[..., :-1]).any(-1), Reason("reading_after_empty")))
    checks.append(
        (((flows < 0) | (flows > 700)).any(-1), Reason("outside", what="blood_flow", low=0, high=700, unit="mL/min"))
    )
    checks.append(((np.diff(times) < 0).any(-1), Reason("readings_not_in_order")))
    early, late = times < start[..., None], times > end[..., None]
    checks.append(((early | late).any(-1), Reason("reading_outside")))
    checks.append(((end - start > LONGEST_MINUTES) | (end < start), Reason("ends_do_not_fit")))
    return checks


def _trapezoid(flows: FloatArray, times: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    empty = np.isnan(flows)
    last = np.maximum((~empty).sum(-1, keepdims=True) - 1, 0)
    flows = np.where(empty, np.take_along_axis(flows, last, -1), flows)
    times = np.where(empty, end[..., None], times)
    flows = np.concatenate([flows[..., :1], flows, flows[..., -1:]], -1)
    times = np.concatenate([start[..., None], times, end[..., None]], -1)
    return np.asarray(np.trapezoid(flows, times, axis=-1))


@quiet
def blood_processed_share(*, processed_l: ArrayLike, flow_ml_min: ArrayLike, minutes: ArrayLike) -> Measure:
    """Blood processed over what a flow gives in a time: 1000 B/(Qb t) [1].

    processed_l: B, 0 to 500 L; flow_ml_min: 50 to 700 mL/min; minutes: 30 to 900. Below 0.9 the pump stopped
    or alarms held it (common practice).

    >>> blood_processed_share(processed_l=64.8, flow_ml_min=300, minutes=240).number
    0.9
    """
    processed, flow, t = as_float(processed_l, flow_ml_min, minutes)
    checks = within(0, 500, "L", blood_processed=processed) + within(50, 700, "mL/min", blood_flow=flow)
    checks += within(30, 900, "minutes", treatment_length=t)
    return measure(processed * k.ML_PER_L / (flow * t), "1", checks)
