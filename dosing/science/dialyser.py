"""Urea clearance of a dialyser from its mass-transfer coefficient and flows.

Flows and clearances are mL/min. Which water a flow counts matters: with an in-vivo KoA and blood-water
flow the clearance is a blood-water clearance; with whole-blood flow it is a whole-blood clearance.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.checks import above_zero, not_negative, quiet, within
from dosing.science.reasons import Reason
from dosing.science.results import FloatArray, Measure, as_float, measure


def _michaels(koa: FloatArray, qb: FloatArray, qd: FloatArray) -> FloatArray:
    """Countercurrent clearance in a form without a branch at Qb = Qd and without overflow."""
    gap = 1 - qb / qd
    per_unit = koa / qb
    share = np.where(gap == 0, 1 / per_unit, gap / np.expm1(per_unit * gap))
    return np.asarray(qb / (1 + share))


@quiet
def blood_water_clearance(
    *,
    koa: ArrayLike,
    qb: ArrayLike,
    qd: ArrayLike,
    qf: ArrayLike = 0.0,
    water_share: ArrayLike = float(k.BLOOD_WATER),
) -> Measure:
    """Total blood-water urea clearance, the Kd of the urea model: diffusion plus ultrafiltration [mL/min].

    koa: in-vivo KoA; qb: whole-blood flow; qd: dialysate flow; qf: ultrafiltration, all mL/min.
    water_share: blood water in blood, 0.7 to 1. Shapes broadcast. Qb below stands for water_share x Qb.
    Z = exp[(KoA/Qb)(1 - Qb/Qd)], Kd = Qb (Z - 1)/(Z - Qb/Qd); at Qb = Qd, Kd = Qb KoA/(Qb + KoA);
    K = Kd (1 - Qf/Qb) + Qf. Kd stays below Qb, Qd and KoA; an exact one-dimensional solution of K lies 0.4-0.8 %
    higher. Sources: Michaels, Trans Am Soc Artif Intern Organs 12:387-92, 1966 (form seen in a thesis that uses it);
    Sargent and Gotch (from memory; standard).

    >>> round(blood_water_clearance(koa=800, qb=300, qd=500, qf=17).number, 2)
    228.61
    """
    koa_, qb_, qd_, qf_, share = as_float(koa, qb, qd, qf, water_share)
    water = share * qb_
    checks = above_zero(mass_transfer_coefficient=koa_, blood_flow=qb_, dialysate_flow=qd_)
    checks += not_negative(ultrafiltration=qf_) + within(0.7, 1.0, blood_water_share=share)
    checks.append((qf_ >= water, Reason("ultrafiltration_above_flow")))
    return measure(_michaels(koa_, water, qd_) * (1 - qf_ / water) + qf_, "mL/min", checks)


@quiet
def in_vivo_koa(*, label_koa: ArrayLike, share: ArrayLike = float(k.LABEL_TO_LIVING)) -> Measure:
    """KoA to expect in a patient from the data sheet's aqueous KoA [mL/min].

    share: in-vivo over in-vitro, 0.5 to 1; default 0.8. Sources differ (0.57 to 0.82), so it is the
    unit's setting. Source: HEMO study as quoted by KDOQI 2006 (from memory).

    >>> in_vivo_koa(label_koa=1000).number
    800.0
    """
    koa, factor = as_float(label_koa, share)
    checks = above_zero(mass_transfer_coefficient=koa) + within(0.5, 1.0, in_vivo_share=factor)
    return measure(koa * factor, "mL/min", checks)


@quiet
def delivered_blood_flow(*, set_flow: ArrayLike) -> Measure:
    """Blood flow to expect at a pump setting, as the roller's tube fills less at high suction [mL/min].

    Q = set [1 - max(0, set - 200)/2000]. set_flow: 50 to 600 mL/min. A line through published points
    (0, 5, 10 % short at 200, 300, 400; Depner, seen); others differ at 400: 4 % short (Sands 1996, 384.3 mL/min
    delivered, seen), 15 % short in fistulas of twenty patients (341 mL/min, seen).

    >>> delivered_blood_flow(set_flow=400).number
    360.0
    """
    (flow,) = as_float(set_flow)
    checks = within(50, 600, "mL/min", blood_flow=flow)
    short = np.maximum(flow - k.FLOW_GAP_START, 0) / k.FLOW_GAP_SCALE
    return measure(flow * (1 - short), "mL/min", checks)
