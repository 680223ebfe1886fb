"""Solutes beyond urea through a repeating schedule: phosphate, potassium and beta-2-microglobulin before treatment.

All clearances are of PLASMA [mL/min]: red cells give no phosphate and no potassium to the passing plasma. Two pools
with masses m1, m2 and volumes v1, v2; a share of every change of fluid lies in the first. While x litres above the
weight after treatment are aboard,

    dm1/dt = G + swap - D (c1 - cd) - S Qf c1 - (Kr + Kn) c1        dm2/dt = -swap
    swap   = Kc (c2 - c1) + fluid that follows between the pools with what is in it,

D the clearance by diffusion, S the sieving of the ultrafiltrate, Kr the kidney, Kn every other way out. The equations
are linear: one cycle is an affine map of the masses, and its fixed point is the steady week. A phase is cut into short
steps, each passed by the exponential of Magnus' fourth-order sum (Magnus, Commun Pure Appl Math 7:649, 1954; from
memory), so that only the slow change of volume is approximate.

Phosphate: mobilised from a pool so large that it hardly changes (Agar et al., Clin J Am Soc Nephrol 2011, n 22;
Leypoldt et al., Kidney Int 2013, n 774: clearance of mobilisation 87, 65 to 116 mL/min; central volume 13.6 % of the
weight after; abstracts seen). Potassium: the same with a bath (Agar, n 551: 158, 111 to 235 mL/min; 15.6, 11.4 to 22.8
L; from memory); second pool and gut are assumed. Beta-2-microglobulin: 30 % of body water in two pools in the ratio of
1 to 3.4 with 55 (30 to 80) mL/min between them (Int J Artif Organs 25:411, 2002, n 8; seen).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dosing.science import sources as k
from dosing.science.checks import quiet
from dosing.science.dialyser import _michaels
from dosing.science.results import FloatArray
from dosing.science.schedule import Cycle, PatientParameters, Schedule, ScheduleRows, lay_out, rows_of

FINE, ROUGH = 48, 12
"""Steps of a phase: with many no digit of a laboratory moves; with few a level is off by two in a thousand, which is
enough where it is drawn many times with what is not known of the patient."""
EYE = np.eye(4)
GAUSS = (0.5 - np.sqrt(3) / 6, 0.5 + np.sqrt(3) / 6)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solute:
    """What one solute does in one patient or many: each field a number or an array over the rows.

    first, second: volumes of the pools at the weight after treatment [L]; share: of every change of fluid that lies in
    the first; exchange [mL/min]: between the pools; generation: made or absorbed [mmol/min, of beta-2-microglobulin
    mg/min]; kidney, other: clearances at all times [mL/min]; koa_factor: of urea's in-vivo KoA, koa: its own where the
    dialyser has one [mL/min]; bath: in the dialysate [mmol/L]; sieving: of the ultrafiltrate; by_flow: whether the
    ultrafiltrate takes its part off the flow that diffuses.
    """

    first: ArrayLike
    second: ArrayLike
    exchange: ArrayLike
    generation: ArrayLike
    share: float = 1.0
    kidney: ArrayLike = 0.0
    other: ArrayLike = 0.0
    koa_factor: float = 1.0
    koa: ArrayLike | None = None
    bath: ArrayLike = 0.0
    sieving: float = 1.0
    by_flow: bool = True


def phosphate(
    *,
    weight_kg: ArrayLike,
    volume_l: ArrayLike,
    absorbed_mmol_day: ArrayLike,
    kidney_ml_min: ArrayLike = 0.0,
    bath_mmol_l: ArrayLike = 0.0,
    mobilisation_ml_min: ArrayLike = float(k.PHOSPHATE_MOBILISATION),
) -> Solute:
    """Phosphate of a person. weight_kg: after treatment; volume_l: of urea; kidney_ml_min: clearance of urea.

    The second pool is three times the water of the body (Daugirdas, Nephrol Dial Transplant 33:76, 2018; abstract).

    >>> round(float(phosphate(weight_kg=70, volume_l=35, absorbed_mmol_day=12).first), 2)
    9.52
    """
    return Solute(
        first=k.PHOSPHATE_SHARE_OF_WEIGHT * np.asarray(weight_kg),
        second=k.PHOSPHATE_SECOND_POOL * np.asarray(volume_l),
        exchange=mobilisation_ml_min,
        generation=np.asarray(absorbed_mmol_day) / k.MINUTES_PER_DAY,
        kidney=k.PHOSPHATE_BY_KIDNEY * np.asarray(kidney_ml_min),
        koa_factor=float(k.PHOSPHATE_KOA),
        bath=bath_mmol_l,
    )


def potassium(
    *,
    weight_kg: ArrayLike,
    absorbed_mmol_day: ArrayLike,
    bath_mmol_l: ArrayLike,
    kidney_ml_min: ArrayLike = 0.0,
    mobilisation_ml_min: ArrayLike = float(k.POTASSIUM_MOBILISATION),
) -> Solute:
    """Potassium of a person; arguments as of `phosphate`. bath_mmol_l: of the dialysate.

    >>> round(float(potassium(weight_kg=70, absorbed_mmol_day=60, bath_mmol_l=2).first), 2)
    15.12
    """
    return Solute(
        first=k.POTASSIUM_SHARE_OF_WEIGHT * np.asarray(weight_kg),
        second=float(k.POTASSIUM_SECOND_POOL),
        exchange=mobilisation_ml_min,
        generation=np.asarray(absorbed_mmol_day) / k.MINUTES_PER_DAY,
        kidney=kidney_ml_min,
        other=float(k.POTASSIUM_BY_GUT),
        bath=bath_mmol_l,
    )


def beta_2_microglobulin(
    *,
    volume_l: ArrayLike,
    koa_ml_min: ArrayLike,
    kidney_ml_min: ArrayLike = 0.0,
    made_mg_min: ArrayLike = float(k.B2M_MADE),
    exchange_ml_min: ArrayLike = float(k.B2M_EXCHANGE),
) -> Solute:
    """Beta-2-microglobulin of a person. volume_l: of urea; koa_ml_min: of the dialyser for it; kidney: of urea.

    >>> round(float(beta_2_microglobulin(volume_l=35, koa_ml_min=80).first), 3)
    2.386
    """
    whole = k.B2M_SHARE_OF_WATER * np.asarray(volume_l)
    return Solute(
        first=whole / k.B2M_POOLS,
        second=whole * (1 - 1 / k.B2M_POOLS),
        share=1 / float(k.B2M_POOLS),
        exchange=exchange_ml_min,
        generation=made_mg_min,
        kidney=k.B2M_BY_KIDNEY * np.asarray(kidney_ml_min),
        other=float(k.B2M_NOT_BY_KIDNEY),
        koa=koa_ml_min,
        sieving=float(k.B2M_SIEVING),
        by_flow=False,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SoluteWeek:
    """The steady week of one solute, (rows,) or (rows, treatments); concentrations of plasma [mmol/L or mg/L].

    dialysis, kidney, other, made: what leaves each way in a week, and what comes [mmol or mg]; clearance: standard
    clearance of the week, what is made over the mean before treatment [mL/min].
    """

    pre: FloatArray
    post: FloatArray
    mean_pre: FloatArray
    average: FloatArray
    dialysis: FloatArray
    kidney: FloatArray
    other: FloatArray
    made: FloatArray
    clearance: FloatArray


@quiet
def solute_week(
    *, schedule: Schedule, solute: Solute, fluid_gain: ArrayLike, clearance_factor: ArrayLike = 1.0,
    haematocrit: float = float(k.USUAL_HAEMATOCRIT), steps: int = FINE,
) -> SoluteWeek:  # fmt: skip
    """The week that repeats itself. fluid_gain: between treatments [L/d]; clearance_factor: delivered over noted.

    Fluid gained during a treatment is left out, as the urea model does. NaN where a schedule has no steady week.

    >>> thrice = Schedule(starts=[8, 56, 104], hours=4, koa=800, blood_flow=300, dialysate_flow=500)
    >>> person = phosphate(weight_kg=70, volume_l=35, absorbed_mmol_day=12)
    >>> solute_week(schedule=thrice, solute=person, fluid_gain=1.44).mean_pre.round(3).tolist()
    [1.443]
    """
    person = PatientParameters(volume=35.0, generation=1.0, fluid_gain=fluid_gain, clearance_factor=clearance_factor)
    # Broadcast with the solute: its fields may have more rows than the schedule.
    shape = np.broadcast_shapes(
        *(np.shape(getattr(solute, each.name)) for each in fields(solute) if each.name != "koa")
    )
    person = replace(person, volume=np.broadcast_to(35.0, np.broadcast_shapes(shape, np.shape(fluid_gain))))
    rows = rows_of(schedule=schedule, patient=person)
    cycle, solute = lay_out(rows), _flat(solute, rows.volume.shape)
    phases = list(_phases(rows, cycle, solute, haematocrit))
    return _solved(rows, cycle, solute, phases, steps)


def _flat(solute: Solute, shape: tuple[int, ...]) -> Solute:
    numbers = ("first", "second", "exchange", "generation", "kidney", "other", "bath")
    made = {name: np.broadcast_to(np.ravel(np.asarray(getattr(solute, name), float)), shape) for name in numbers}
    koa = None if solute.koa is None else np.broadcast_to(np.ravel(np.asarray(solute.koa, float)), shape)
    return replace(solute, **made, koa=koa)  # type: ignore[arg-type]  # only names of numbers


def _solved(rows: ScheduleRows, cycle: Cycle, solute: Solute, phases: list[SolutePhase], steps: int) -> SoluteWeek:
    maps = [each.passed(steps) for each in phases]
    whole = EYE
    for one in maps:
        whole = one @ whole
    start = _fixed(whole)
    states = [start]
    for one in maps:
        states.append((one @ states[-1][..., None])[..., 0])
    return _told(rows, cycle, solute, phases, states)


def _fixed(whole: FloatArray) -> FloatArray:
    """The masses that come back after one cycle, with no exposure so far: (rows, 4)."""
    masses = np.linalg.solve(np.eye(2) - whole[..., :2, :2], whole[..., :2, 3, None])[..., 0]
    return np.concatenate([masses, np.zeros((len(masses), 1)), np.ones((len(masses), 1))], axis=-1)


@dataclass(frozen=True, slots=True, eq=False)
class SolutePhase:
    """One stretch of the cycle, off or on; all (rows,). minutes; above: litres above the weight after at its start;
    drained: L/min off; diffusive, leaving: L/min; source: mmol/min with what the bath gives."""

    solute: Solute
    minutes: FloatArray
    above: FloatArray
    drained: FloatArray
    diffusive: FloatArray
    leaving: FloatArray
    source: FloatArray
    on: bool

    def volumes(self, after: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Of both pools, so many minutes after the start [L]."""
        above = self.above - self.drained * after
        share = self.solute.share
        first, second = np.asarray(self.solute.first), np.asarray(self.solute.second)
        return np.asarray(first + share * above), np.asarray(second + (1 - share) * above)

    def rates(self, after: FloatArray) -> FloatArray:
        """The matrix of (m1, m2, exposure, 1) so many minutes after the start, (rows, 4, 4)."""
        first, second = self.volumes(after)
        exchange = np.asarray(self.solute.exchange) / k.ML_PER_L
        follows = (1 - self.solute.share) * self.drained
        inward, outward = exchange + np.maximum(follows, 0), exchange + np.maximum(-follows, 0)
        made = np.zeros((*np.shape(first), 4, 4))
        made[..., 0, 0] = -(self.leaving + outward) / first
        made[..., 0, 1] = inward / second
        made[..., 0, 3] = self.source
        made[..., 1, 0] = outward / first
        made[..., 1, 1] = -inward / second
        made[..., 2, 0] = 1 / first
        return made

    def passed(self, steps: int) -> FloatArray:
        """The map of (m1, m2, exposure, 1) over the phase, (rows, 4, 4); the identity where it lasts no time."""
        begins, step = np.arange(steps)[:, None], self.minutes / steps
        early, late = (self.rates((begins + place) * step) * step[:, None, None] for place in GAUSS)
        maps = _exponential((early + late) / 2 + np.sqrt(3) / 12 * (late @ early - early @ late))
        whole = maps[0]
        for one in maps[1:]:
            whole = one @ whole
        return np.asarray(whole)


def _exponential(matrix: FloatArray) -> FloatArray:
    """Of each matrix of a stack: scaled to below one eighth, eight terms of the series, squared back."""
    size = float(np.nanmax(np.abs(matrix).sum(axis=-1), initial=1e-9))
    halvings = max(0, int(np.ceil(np.log2(8 * size))))
    small = matrix / 2**halvings
    term = whole = np.broadcast_to(EYE, matrix.shape)
    for order in range(1, 9):
        term = term @ small / order
        whole = whole + term
    for _ in range(halvings):
        whole = whole @ whole
    return np.asarray(whole)


def _phases(rows: ScheduleRows, cycle: Cycle, solute: Solute, haematocrit: float) -> Iterator[SolutePhase]:
    """Off, on, off, on … in order of time, as the urea model lays them out."""
    outer = rows.volume * rows.extracellular_share
    always = (np.asarray(solute.kidney) + np.asarray(solute.other)) / k.ML_PER_L
    for at in range(len(cycle.phases.minutes)):
        on, drained = at % 2 == 1, -cycle.phases.slope[at]
        diffusive = _diffusive(rows, solute, at // 2, drained, haematocrit) if on else np.zeros_like(drained)
        yield SolutePhase(
            solute=solute,
            minutes=cycle.phases.minutes[at],
            above=cycle.phases.volume[at] - outer,
            drained=drained,
            diffusive=diffusive,
            leaving=always + diffusive + (solute.sieving * drained if on else 0.0),
            source=np.asarray(solute.generation) + diffusive * np.asarray(solute.bath),
            on=on,
        )


def _diffusive(rows: ScheduleRows, solute: Solute, place: int, drained: FloatArray, haematocrit: float) -> FloatArray:
    """Plasma clearance by diffusion of one treatment [L/min]; none in a place without a treatment."""
    plasma = (1 - haematocrit) * rows.blood_flow[place]
    koa = solute.koa_factor * rows.koa[place] if solute.koa is None else np.asarray(solute.koa)
    passed = rows.clearance_factor * _michaels(koa, plasma, rows.dialysate_flow[place]) / k.ML_PER_L
    lost = 1 - drained * k.ML_PER_L / plasma if solute.by_flow else 1.0
    return np.asarray(np.where(rows.treated[place], passed * lost, 0.0))


def _told(
    rows: ScheduleRows, cycle: Cycle, solute: Solute, phases: list[SolutePhase], states: list[FloatArray]
) -> SoluteWeek:
    zero = np.zeros_like(cycle.minutes)
    there = rows.treated
    pre = np.stack([states[at][:, 0] / phases[at].volumes(zero)[0] for at in range(1, len(phases), 2)])
    post = np.stack([states[at + 1][:, 0] / each.volumes(each.minutes)[0] for at, each in enumerate(phases) if each.on])
    pre, post = (np.where(there, values, np.nan) for values in (pre, post))
    weeks = float(k.MINUTES_PER_WEEK) / cycle.minutes
    whole = states[-1][:, 2]
    gone = sum(
        (each.diffusive + solute.sieving * each.drained) * (states[at + 1][:, 2] - states[at][:, 2])
        - each.diffusive * np.asarray(solute.bath) * each.minutes
        for at, each in enumerate(phases)
        if each.on
    )
    mean_pre, made = np.nanmean(pre, axis=0), np.asarray(solute.generation) * float(k.MINUTES_PER_WEEK)
    return SoluteWeek(
        pre=rows.to_places(pre),
        post=rows.to_places(post),
        mean_pre=mean_pre,
        average=whole / cycle.minutes,
        dialysis=np.asarray(gone * weeks),
        kidney=np.asarray(solute.kidney) / k.ML_PER_L * whole * weeks,
        other=np.asarray(solute.other) / k.ML_PER_L * whole * weeks,
        made=made,
        clearance=np.asarray(solute.generation) / mean_pre * k.ML_PER_L,
    )


@dataclass(frozen=True, slots=True)
class SoluteBand:
    """What one schedule leads to: with eight chances in ten between low and high."""

    low: float
    middle: float
    high: float


def band_of(values: FloatArray) -> SoluteBand:
    """The band of values that draws from what is known gave.

    >>> band_of(np.arange(11.0))
    SoluteBand(low=1.0, middle=5.0, high=9.0)
    """
    low, middle, high = np.nanquantile(values, (0.1, 0.5, 0.9))
    return SoluteBand(float(low), float(middle), float(high))


def draws(*, count: int, spread: float, seed: int) -> NDArray[np.float64]:
    """Factors around 1 whose logarithm has this standard deviation: the same each time, spread evenly.

    They are the middles of equal shares of the distribution in a fixed random order, so that few are enough.

    >>> sorted(draws(count=3, spread=0.5, seed=1).round(2).tolist())
    [0.62, 1.0, 1.62]
    """
    shares = [NormalDist(0, spread).inv_cdf((at + 0.5) / count) for at in range(count)]
    return np.asarray(np.exp(np.random.default_rng(seed).permutation(np.asarray(shares))))


def as_in_groups(ratio: float) -> SoluteBand | None:
    """Phosphate before treatment, as a ratio to now, as it came in six published groups; None where they say nothing.

    Observed over model = (model ratio)^-0.554: with more dialysis binders were cut and people ate more, so that the
    level fell less than at unchanged intake. From the groups' means (see `PUBLISHED_GROUPS`) by least squares through
    the origin, scatter e^±0.18, standard error 0.13; eight in ten by Student's t of five degrees. They lie at model
    ratios of 0.39 to 0.77, so above 0.8 there is no support. Computed here from those means; three are before-and-after
    series, and some baselines are from memory.

    >>> [round(each, 2) for each in (as_in_groups(0.41).low, as_in_groups(0.41).middle, as_in_groups(0.41).high)]
    [0.49, 0.67, 0.92]
    >>> as_in_groups(0.9)
    """
    if not ratio <= float(k.GROUPS_UP_TO):
        return None
    fall = -np.log(ratio)
    middle = ratio * np.exp(k.GROUPS_GIVE_BACK * fall)
    reach = k.T_OF_FIVE * np.hypot(k.GROUPS_SCATTER, k.GROUPS_ERROR * fall)
    return SoluteBand(float(middle * np.exp(-reach)), float(middle), float(middle * np.exp(reach)))


@dataclass(frozen=True, slots=True)
class PublishedGroup:
    """model: ratio of phosphate before treatment at unchanged intake; observed: as it came; key: whose."""

    model: float
    observed: float
    key: str


PUBLISHED_GROUPS = (
    PublishedGroup(0.75, 0.92, "fhn_daily"),  # FHN Daily, n 245, six short treatments a week
    PublishedGroup(0.52, 0.79, "fhn_nocturnal"),  # FHN Nocturnal, n 87, six nights a week
    PublishedGroup(0.39, 0.73, "walsh_2010"),  # Walsh 2010, n 51, five to six nights a week
    PublishedGroup(0.77, 0.64, "short_daily"),  # short daily in a centre, n 21, before and after
    PublishedGroup(0.68, 0.70, "three_nights_hdf"),  # three nights of eight hours, HDF, n 14, before and after
    PublishedGroup(0.63, 0.83, "three_nights"),  # three nights of eight hours, n 16, before and after
)
"""Abstracts seen; model ratios computed from the flows and hours of the groups, of which some are from memory."""
