"""The same questions as the product's, asked of a slow program that was written from the equations alone.

It shares no code with the product: the standard library and SciPy, and a test holds that. What can be integrated is
integrated: the urea of a patient over months of treatments as they really were, in two pools of which one moves with
the fluid, and the urea of one treatment in one pool. What is a published rule is written out (dose from two samples,
body water, protein, rebound), with its source beside it.

Units: litres, minutes, kg, mmol/L of urea, mL/min for flows and clearances, mmol/min for what is made. "Water" is
plasma water: what a laboratory tells of plasma is 0.93 of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from statistics import fmean

from scipy.integrate import solve_ivp
from scipy.optimize import brentq

PLASMA_WATER = 0.93
BLOOD_WATER = 0.86
WEEK = 10080.0
NITROGEN = 28.0134
"""mg of nitrogen in a mmol of urea"""
EXCHANGE = 0.016
"""1/min: what passes between the pools is this times V (constants of the two-pool model in Vartia's thesis, 4.2.1)"""
LIVING_KOA = 0.8
"""of the data sheet's KoA is left in a patient (HEMO, from memory)"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Who is treated. volume: urea volume at the target weight; generation: urea made; kidney: clearance of water."""

    sex: str
    age_years: float
    height_cm: float
    target_kg: float
    volume: float
    generation: float
    kidney: float = 0.0

    def extracellular(self, weight_kg: float) -> float:
        """A third of V at the target weight; whatever weighs more is fluid, and this pool has it."""
        return self.volume / 3 + weight_kg - self.target_kg


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """One treatment as it was. `None` is what nobody noted; known: whether the unit has a record of it.

    qb: what the pump is set to; koa: of the data sheet; uf_read: (minute, litres) of the machine's counter.
    real_pre, real_post: what the patient weighed, whether noted or not.
    """

    start: datetime
    minutes: float
    qb: float
    qd: float
    koa: float
    real_pre: float
    real_post: float
    pre_kg: float | None
    post_kg: float | None
    uf_total: float | None
    uf_read: tuple[tuple[float, float], ...] = ()
    rinse_l: float = 0.0
    drinks_l: float = 0.0
    known: bool = True
    at_home: bool = True


@dataclass(frozen=True, slots=True)
class Urea:
    """Of one treatment: water concentrations before, at its end, and when the pools have mixed; what was dialysed.

    excreted_between: by the kidney from the end of the treatment before; excreted_during: while it ran. [mmol]
    """

    night: Night
    before: float
    after: float
    mixed: float
    dialysed: float
    excreted_between: float
    excreted_during: float

    @property
    def excreted(self) -> float:
        return self.excreted_between + self.excreted_during

    @property
    def plasma_before(self) -> float:
        return PLASMA_WATER * self.before

    @property
    def plasma_after(self) -> float:
        return PLASMA_WATER * self.after


def michaels(flow: float, dialysate: float, koa: float) -> float:
    """Diffusive clearance of a counter-current dialyser: Michaels, Trans ASAIO 1966;12:387."""
    if math.isclose(flow, dialysate, rel_tol=1e-9):
        return flow * koa / (flow + koa)
    z = math.exp(koa / flow * (1 - flow / dialysate))
    return flow * (z - 1) / (z - flow / dialysate)


def michaels_integrated(flow: float, dialysate: float, koa: float) -> float:
    """The same by integration along the fibre: blood from 1 downwards, dialysate entering clean at the far end."""

    def far_end(outlet: float) -> float:
        """Dialysate at its inlet, were it to leave with so much urea."""

        def along(_: float, c: Sequence[float]) -> list[float]:
            return [-koa / flow * (c[0] - c[1]), -koa / dialysate * (c[0] - c[1])]

        return float(solve_ivp(along, (0, 1), [1.0, outlet], rtol=1e-11, atol=1e-13).y[1, -1])

    outlet = brentq(far_end, 0.0, 1.0, xtol=1e-13)
    return float(dialysate * outlet)


def fluid_removed(night: Night) -> tuple[float, str] | None:
    """What the machine took off, and by what it is known: its total, else the weights, else its counter at the end.

    A counter that was last read long before the end says what was gone by then, and no more: it is no total.
    """
    if night.uf_total is not None:
        return night.uf_total, "total"
    if night.pre_kg is not None and night.post_kg is not None:
        return night.pre_kg - night.post_kg + night.rinse_l + night.drinks_l, "weights"
    if night.uf_read and night.uf_read[-1][0] >= night.minutes - 1:
        return night.uf_read[-1][1], "readings"
    return None


def net_fluid(night: Night) -> float | None:
    """What the patient really lost: the machine's fluid less what was given back and drunk meanwhile."""
    removed = fluid_removed(night)
    return None if removed is None else removed[0] - night.rinse_l - night.drinks_l


def clearance(night: Night) -> float:
    """Whole clearance of water [mL/min]: living KoA, the flow behind the setting, Michaels, and ultrafiltration.

    Flow: 5 % short at 300, 10 % at 400 (Depner). Ultrafiltration: K (1 - Qf/Qb) + Qf (Sargent and Gotch).
    """
    behind = night.qb * (1 - max(0.0, night.qb - 200) / 2000)
    water = BLOOD_WATER * behind
    drawn = 1000 * (night.real_pre - night.real_post + night.rinse_l + night.drinks_l) / night.minutes
    return michaels(water, night.qd, LIVING_KOA * night.koa) * (1 - drawn / water) + drawn


Volume = Callable[[float], float]


def two_pools(
    person: Person, masses: Sequence[float], span: float, volume: Volume, cleared: float
) -> tuple[float, float, float, float]:
    """Masses of both pools after `span` minutes, what the dialyser took and what the kidney: by integration."""
    inner, across, kidney = 2 / 3 * person.volume, EXCHANGE * person.volume, person.kidney / 1000

    def rates(t: float, y: Sequence[float]) -> list[float]:
        outer = y[0] / volume(t)
        flow = across * (y[1] / inner - outer)
        made = person.generation - (cleared + kidney) * outer
        return [made + flow, -flow, cleared * outer, kidney * outer]

    done = solve_ivp(rates, (0, span), [*masses, 0.0, 0.0], method="DOP853", rtol=1e-9, atol=1e-9)
    return tuple(float(row[-1]) for row in done.y)  # type: ignore[return-value]


def _line(begin: float, end: float, span: float) -> Volume:
    return lambda t: begin + (end - begin) * t / span


def urea_course(person: Person, nights: Sequence[Night], *, first: float = 20.0) -> list[Urea]:
    """Urea before and after each treatment of a course, by integration from the first one on.

    first: water concentration before the first of them, in both pools; what was assumed there is forgotten within
    a few treatments. Between treatments the weight goes in a straight line from one to the next.
    """
    outer = person.extracellular(nights[0].real_pre)
    masses = (first * outer, first * 2 / 3 * person.volume)
    excreted, found = 0.0, []
    for night, following in zip(nights, [*nights[1:], None], strict=True):
        begin, end = person.extracellular(night.real_pre), person.extracellular(night.real_post)
        before = masses[0] / begin
        volume = _line(begin, end, night.minutes)
        *masses, taken, own = two_pools(person, masses, night.minutes, volume, clearance(night) / 1000)
        mixed = sum(masses) / (end + 2 / 3 * person.volume)
        found.append(Urea(night, before, masses[0] / end, mixed, taken, excreted, own))
        if following is not None:
            idle = (following.start - night.start).total_seconds() / 60 - night.minutes
            volume = _line(end, person.extracellular(following.real_pre), idle)
            *masses, _, excreted = two_pools(person, masses, idle, volume, 0.0)
    return found


@dataclass(frozen=True, slots=True)
class Week:
    """Weekly standard Kt/V of a span of real treatments, as its definition says: urea made over peaks and volume.

    total: 10080 G / (V mean C before), Gotch 1998. kidney: of that, the share of what left the body through the kidney.
    """

    total: float
    kidney: float

    @property
    def dialysis(self) -> float:
        return self.total - self.kidney


def standard_week(person: Person, course: Sequence[Urea], *, least_minutes: float = 0.0) -> Week:
    """Of these treatments in a row; urea before one that was shorter than `least_minutes` is no peak of the week."""
    peak = fmean(each.before for each in course if each.night.minutes >= least_minutes)
    total = person.generation * WEEK / (peak * person.volume)
    excreted = sum(each.excreted for each in course)
    return Week(total, total * excreted / (excreted + sum(each.dialysed for each in course)))


# Published rules of one treatment ---------------------------------------------------------------------------------


def generation_factor(days: float | None) -> float:
    """0.0174 over the days from start to start (Daugirdas 2013); 0.008 three times a week (Daugirdas 1993)."""
    return 0.008 if days is None else 0.0174 / days


def single_pool(
    *, pre: float, post: float, minutes: float, net_l: float, post_kg: float, days: float | None
) -> float | None:
    """-ln(R - GFAC t) + (4 - 3.5 R) UF/W, second generation; None where the ratio is below what was made."""
    ratio, hours = post / pre, minutes / 60
    left = ratio - generation_factor(days) * hours
    return None if left <= 0 else -math.log(left) + (4 - 3.5 * ratio) * net_l / post_kg


def single_pool_integrated(
    *, pre: float, post: float, minutes: float, net_l: float, volume: float, generation: float
) -> float:
    """K t / V that takes one pool of urea from before to after while it shrinks and urea is made: by integration."""

    def off(k: float) -> float:
        cleared = k * volume / minutes

        def rate(t: float, mass: Sequence[float]) -> list[float]:
            return [generation - cleared * mass[0] / (volume + net_l * (1 - t / minutes))]

        done = solve_ivp(rate, (0, minutes), [pre * (volume + net_l)], rtol=1e-9, atol=1e-9)
        return float(done.y[0, -1]) / volume - post

    return float(brentq(off, 0.01, 8.0, xtol=1e-9))


def equilibrated(single: float, minutes: float, *, catheter: bool) -> float:
    """Kt/V t/(t + 35), by catheter t/(t + 22): Tattersall, Kidney Int 1996;50:2094."""
    return single * minutes / (minutes + (22 if catheter else 35))


def standard_of_one(equilibrated_: float, minutes: float, per_week: float) -> float:
    """Fixed volume, no kidney: Leypoldt, Semin Dial 2004;17:142."""
    gone = -math.expm1(-equilibrated_)
    return (WEEK * gone / minutes) / (gone / equilibrated_ + WEEK / (per_week * minutes) - 1)


def standard_closed(
    *, single: float, minutes: float, per_week: float, weekly_uf_l: float, volume: float, kidney: float = 0.0
) -> float:
    """With fluid and kidney: Daugirdas, Kidney Int 2010;77:637; rebound by t/(t + 30.7)."""
    fixed = standard_of_one(single * minutes / (minutes + 30.7), minutes, per_week)
    own = kidney * (0.974 / (single + 1.62) + 0.4) * WEEK / (1000 * volume)
    return fixed / (1 - 0.74 / per_week * weekly_uf_l / volume) + own


def reduction(pre: float, post: float) -> float:
    """URR [%]."""
    return 100 * (1 - post / pre)


def protein(generation: float, volume: float) -> float:
    """nPCR [g/kg/d]: (9.35 G + 0.294 V) / (V / 0.58), G in mg of nitrogen a minute (Borah, Kidney Int 1978;14:491)."""
    return (9.35 * NITROGEN * generation + 0.294 * volume) * 0.58 / volume


def watson(*, sex: str, age_years: float, height_cm: float, weight_kg: float) -> float:
    """Body water [L]: Watson, Am J Clin Nutr 1980;33:27."""
    if sex == "male":
        return 2.447 - 0.09516 * age_years + 0.1074 * height_cm + 0.3362 * weight_kg
    return -2.097 + 0.1069 * height_cm + 0.2466 * weight_kg


def surface(*, height_cm: float, weight_kg: float) -> float:
    """m2: Du Bois, Arch Intern Med 1916;17:863."""
    return float(0.007184 * height_cm**0.725 * weight_kg**0.425)


def fluid_rate(removed_l: float, minutes: float, post_kg: float) -> float:
    """mL/kg/h on the weight after."""
    return 1000 * removed_l / (minutes / 60) / post_kg


def kidney_clearance(*, urine: float, urine_ml: float, minutes: float, start: float, end: float) -> float:
    """Clearance of plasma [mL/min] from all urine of an interval and the plasma at both its ends."""
    return urine * urine_ml / minutes / ((start + end) / 2)


# Counts of a month ------------------------------------------------------------------------------------------------


def days_between(first: datetime, last: datetime, gaps: Sequence[tuple[datetime, datetime]] = ()) -> float:
    """Days in treatment from one moment to another, those away or in hospital left out."""
    away = sum(max(0.0, (min(end, last) - max(begin, first)).total_seconds()) for begin, end in gaps)
    return ((last - first).total_seconds() - away) / 86400


def in_span(nights: Sequence[Night], first: datetime, last: datetime) -> list[Night]:
    return [night for night in nights if first <= night.start < last]


def hours_a_week(nights: Sequence[Night], days: float) -> float:
    return sum(night.minutes for night in nights) / 60 / days * 7


def gains(nights: Sequence[Night]) -> list[float | None]:
    """kg gained before each treatment but the first, by the weights that were noted."""
    return [
        None if before.post_kg is None or night.pre_kg is None else night.pre_kg - before.post_kg
        for before, night in pairwise(nights)
    ]


def as_the_unit_knows(nights: Sequence[Night]) -> list[Night]:
    return [night for night in nights if night.known]


def unnoted(night: Night, *names: str) -> Night:
    """The same treatment with nothing noted under these names."""
    return replace(night, **dict.fromkeys(names))
