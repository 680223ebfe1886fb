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

HIGHEST_BLOOD_FLOW = 1000.0
"""[mL/min] where the search for a blood flow stops; no blood pump of a dialysis machine goes there."""


def _michaels(koa: FloatArray, qb: FloatArray, qd: FloatArray) -> FloatArray:
    """Countercurrent clearance in a form without a branch at Qb = Qd and without overflow."""
    gap = 1 - qb / qd
    per_unit = koa / qb
    share = np.where(gap == 0, 1 / per_unit, gap / np.expm1(per_unit * gap))
    return np.asarray(qb / (1 + share))


@quiet
def diffusive_clearance(*, koa: ArrayLike, qb: ArrayLike, qd: ArrayLike) -> Measure:
    """Diffusive clearance K of a countercurrent dialyser, no ultrafiltration [mL/min].

    Z = exp[(KoA/Qb)(1 - Qb/Qd)], K = Qb (Z - 1)/(Z - Qb/Qd); at Qb = Qd, K = Qb KoA/(Qb + KoA).
    koa, qb, qd: mass-transfer area coefficient, blood and dialysate flow [mL/min]; shapes broadcast.
    Range: all above zero. K stays below Qb, Qd and KoA.
    Source: Michaels, Trans Am Soc Artif Intern Organs 12:387-92, 1966 (form seen in a thesis that uses it).

    >>> round(diffusive_clearance(koa=800, qb=300, qd=500).number, 4)
    247.9546
    """
    koa_, qb_, qd_ = as_float(koa, qb, qd)
    checks = above_zero(mass_transfer_coefficient=koa_, blood_flow=qb_, dialysate_flow=qd_)
    return measure(_michaels(koa_, qb_, qd_), "mL/min", checks)


@quiet
def total_clearance(*, diffusive: ArrayLike, qb: ArrayLike, qf: ArrayLike) -> Measure:
    """Clearance with ultrafiltration: K = Kd (1 - Qf/Qb) + Qf [mL/min].

    diffusive: Kd; qb: blood flow in the same water as Kd; qf: ultrafiltration rate, all mL/min.
    Range: Kd <= Qb, 0 <= Qf < Qb. An exact one-dimensional solution lies 0.4-0.8 % higher.
    Source: Sargent and Gotch (from memory; standard).

    >>> round(total_clearance(diffusive=247.9546, qb=300, qf=15).number, 3)
    250.557
    """
    kd, qb_, qf_ = as_float(diffusive, qb, qf)
    checks = above_zero(diffusive_clearance=kd, blood_flow=qb_) + not_negative(ultrafiltration=qf_)
    checks.append((kd > qb_, Reason("diffusion_above_flow")))
    checks.append((qf_ >= qb_, Reason("ultrafiltration_above_flow")))
    return measure(kd * (1 - qf_ / qb_) + qf_, "mL/min", checks)


@quiet
def blood_water_flow(*, qb: ArrayLike, haematocrit: ArrayLike | None = None) -> Measure:
    """Flow of the water in blood that carries urea [mL/min].

    Without a haematocrit 0.86 Qb (Vartia thesis, seen); with one, Qb [0.93 (1 - H) + 0.82 H], which
    gives the 0.894 also in use at H = 0.33 (from memory).
    qb: whole-blood flow [mL/min] above zero; haematocrit: fraction 0.10 to 0.60.

    >>> round(blood_water_flow(qb=300).number, 6)
    258.0
    >>> round(blood_water_flow(qb=300, haematocrit=0.33).number, 2)
    268.11
    """
    if haematocrit is None:
        (qb_,) = as_float(qb)
        return measure(k.BLOOD_WATER * qb_, "mL/min", above_zero(blood_flow=qb_))
    qb_, cells = as_float(qb, haematocrit)
    checks = above_zero(blood_flow=qb_) + within(0.10, 0.60, haematocrit=cells)
    return measure(qb_ * (k.PLASMA_WATER_IN_BLOOD * (1 - cells) + k.CELL_WATER_IN_BLOOD * cells), "mL/min", checks)


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
    water_share: blood water in blood, 0.7 to 1. Shapes broadcast. Range and sources: `diffusive_clearance`
    and `total_clearance` with Qb replaced by water_share x Qb.

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
def koa_from_clearance(*, clearance: ArrayLike, qb: ArrayLike, qd: ArrayLike) -> Measure:
    """KoA that a measured diffusive clearance stands for [mL/min]; inverse of `diffusive_clearance`.

    KoA = Qb Qd/(Qb - Qd) ln[(1 - K/Qb)/(1 - K/Qd)]; at Qb = Qd, K Qb/(Qb - K). All mL/min.
    Range: 0 < K < min(Qb, Qd). Source: Michaels 1966 solved for KoA.

    >>> round(koa_from_clearance(clearance=250, qb=300, qd=500).number, 4)
    823.9592
    """
    kd, qb_, qd_ = as_float(clearance, qb, qd)
    checks = above_zero(clearance=kd, blood_flow=qb_, dialysate_flow=qd_)
    checks.append((kd >= np.minimum(qb_, qd_), Reason("clearance_not_below_flows")))
    # Written with log1p of the difference of the two logarithms' arguments, exact near Qb = Qd.
    drop = kd * (qb_ - qd_) / (qb_ * (qd_ - kd))
    slope = np.where(drop == 0, 1.0, np.log1p(drop) / drop)
    return measure(kd * qd_ / (qd_ - kd) * slope, "mL/min", checks)


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
def koa_at_dialysate_flow(
    *, koa: ArrayLike, qd: ArrayLike, rise: ArrayLike = float(k.KOA_RISE_WITH_DIALYSATE)
) -> Measure:
    """KoA at another dialysate flow: KoA x [1 + rise (Qd - 500)/300] above 500 mL/min [mL/min].

    An option, never a default: dialysers of 1997 showed the rise (Leypoldt, Kidney Int 51:2013, seen; its
    size from memory), later ones with flow-distributing fibres did not (Bhimani 2010, seen).
    koa: at Qd 500 [mL/min]; qd: 100 to 1000 mL/min, below 500 KoA is unchanged; rise: 0 to 0.3.

    >>> round(koa_at_dialysate_flow(koa=800, qd=800).number, 6)
    912.0
    """
    koa_, qd_, rise_ = as_float(koa, qd, rise)
    checks = above_zero(mass_transfer_coefficient=koa_) + within(100, 1000, "mL/min", dialysate_flow=qd_)
    checks += within(0, 0.3, rise_of_the_coefficient=rise_)
    return measure(koa_ * (1 + rise_ * np.maximum(qd_ - 500, 0) / 300), "mL/min", checks)


@quiet
def clearance_with_recirculation(*, clearance: ArrayLike, qb: ArrayLike, recirculation: ArrayLike) -> Measure:
    """What a dialyser clearance is worth to the patient when blood recirculates in the access [mL/min].

    K' = K (1 - R)/(1 - R (1 - K/Qb)). clearance, qb: mL/min, K < Qb; recirculation: R as a fraction 0 to < 1.
    Source: mass balance over the access (computed).

    >>> round(clearance_with_recirculation(clearance=250, qb=300, recirculation=0.10).number, 3)
    228.814
    """
    kd, qb_, r = as_float(clearance, qb, recirculation)
    checks = above_zero(clearance=kd, blood_flow=qb_) + not_negative(recirculation=r)
    checks.append((r >= 1, Reason("recirculation_whole")))
    checks.append((kd > qb_, Reason("clearance_above_flow")))
    return measure(kd * (1 - r) / (1 - r * (1 - kd / qb_)), "mL/min", checks)


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


@quiet
def blood_flow_for_clearance(*, clearance: ArrayLike, koa: ArrayLike, qd: ArrayLike) -> Measure:
    """Blood flow at which the dialyser reaches a diffusive clearance [mL/min]; inverse of Michaels in Qb.

    clearance, koa, qd: mL/min above zero. The clearance rises with Qb towards Qd [1 - exp(-KoA/Qd)];
    at or above that, or where more than 1000 mL/min were needed, the answer is unknown.
    Source: Michaels 1966, solved by bisection to 1e-12 of the bracket.

    >>> round(blood_flow_for_clearance(clearance=247.9546, koa=800, qd=500).number, 3)
    300.0
    """
    kd, koa_, qd_ = as_float(clearance, koa, qd)
    checks = above_zero(clearance=kd, mass_transfer_coefficient=koa_, dialysate_flow=qd_)
    highest = _michaels(koa_, np.full_like(koa_, HIGHEST_BLOOD_FLOW), qd_)
    checks.append((kd > highest, Reason("flow_not_enough", most=HIGHEST_BLOOD_FLOW)))
    low, high = kd.copy(), np.full_like(kd, HIGHEST_BLOOD_FLOW)
    for _ in range(60):
        middle = (low + high) / 2
        short = _michaels(koa_, middle, qd_) < kd
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return measure((low + high) / 2, "mL/min", checks)


@quiet
def transmembrane_pressure(
    *, blood_in: ArrayLike, blood_out: ArrayLike, dialysate_in: ArrayLike, dialysate_out: ArrayLike
) -> Measure:
    """Mean pressure across the membrane: (Pbi + Pbo)/2 - (Pdi + Pdo)/2 [mmHg].

    All four within -600 to 1000 mmHg. Source: common practice; machines differ in which of them they read.

    >>> transmembrane_pressure(blood_in=220, blood_out=140, dialysate_in=60, dialysate_out=20).number
    140.0
    """
    bi, bo, di, do = as_float(blood_in, blood_out, dialysate_in, dialysate_out)
    checks = within(-600, 1000, "mmHg", blood_pressure_in=bi, blood_pressure_out=bo)
    checks += within(-600, 1000, "mmHg", dialysate_pressure_in=di, dialysate_pressure_out=do)
    return measure((bi + bo) / 2 - (di + do) / 2, "mmHg", checks)
