"""Whether the intervals are true: made-up patients whose weekly dose is known, beside what the fit says of it.

    .venv/bin/python tests/benchmarks/intervals.py [--dose-only]

The truth is a program of its own: SciPy's `solve_ivp` integrates both pools of all patients, treatment by treatment,
with what the model of the product does not have: each night clears differently, blood recirculates in the access on
some, pumps stop unnoted, clearance and volume drift, the kidney fades, diet changes from week to week, drinks are not
noted, scales and clocks are off, the split of the volume is each patient's own, and the laboratory errs and rounds. The
fit gets only what a record would hold. The last line is one JSON object:

coverage_90           share of patients whose true weekly standard Kt/V of the last month lies in the interval of 90 %
forecast_sd           standard deviation of log(come/foretold) of urea after over before, of later pairs
forecast_score_sd     the same in standard deviations of each forecast: 1 where the model's error is as it thinks
dose_error_sd         standard deviation of log(fitted/true) of the weekly dose, of those with at least three pairs
coverage_90_rough     coverage where the model's error is 1.7 times what the product expects
dose_half_width       half the width of their interval, relative, in the median

Unless only the dose is asked for, the fluid follows, on the made-up people of the demo: see `planned_fluid.py` for
fluid_ratio, fluid_share_error and what stands beside them.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import planned_fluid
from ground import own_servers
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from tqdm import tqdm

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from dosing.science.delivered import DeliveredTreatments
from dosing.science.delivered_fit import DeliveredFit, DeliveredPairs, UreaPrior, fit_delivered

Array = NDArray[np.float64]
PATIENTS = 1200
DAYS = 182
MONTH = 30
WEEK = 10080.0
NIGHTS = {3.0: (0, 2, 4), 4.0: (0, 2, 4, 5), 5.0: (0, 1, 3, 4, 5), 6.0: (0, 1, 2, 3, 4, 5)}


@dataclass(frozen=True)
class Unit:
    """Patients of a unit, (patients,), and their treatments, (treatments, patients) with NaN behind the last."""

    rng: np.random.Generator
    expected_volume: Array
    volume: Array
    share: Array
    exchange: Array
    generation: Array
    kidney: Array
    starts: Array
    hours: Array
    noted: Array
    """clearance that the record says [mL/min]"""
    gain: Array
    """L a day"""
    rough: float
    """how much worse than usual clearance and diet keep to anything"""

    @property
    def there(self) -> NDArray[np.bool_]:
        return ~np.isnan(self.starts)


def michaels(koa: Array, qb: Array, qd: Array) -> Array:
    """Clearance of a countercurrent dialyser [mL/min], from the definition."""
    z = np.exp(koa / qb * (1 - qb / qd))
    return np.asarray(qb * (z - 1) / (z - qb / qd))


def a_unit(count: int, seed: int, rough: float = 1.0) -> Unit:
    rng = np.random.default_rng(seed)
    spread = rng.normal
    expected = rng.uniform(22, 48, count)
    volume = expected * np.exp(spread(0, 0.12, count))
    per_week = rng.choice([3.0, 3.5, 4.0, 5.0, 6.0], count, p=[0.25, 0.2, 0.15, 0.3, 0.1])
    long = rng.random(count) < 0.4
    hours = np.where(
        long, rng.uniform(6, 9, count), np.where(per_week >= 5, rng.uniform(2, 3.5, count), rng.uniform(3, 5, count))
    )
    flow = np.where(long, rng.uniform(180, 260, count), rng.uniform(280, 400, count)) * 0.86
    noted = michaels(rng.uniform(600, 1000, count), flow, np.where(long, 300.0, 500.0))
    starts = np.full((DAYS, count), np.nan)
    for patient in range(count):
        days = _days(per_week[patient])
        done = days[rng.random(days.size) > 0.03]
        starts[: done.size, patient] = done * 24 + 20 + rng.uniform(-1.5, 1.5, done.size)
    starts = starts[: int((~np.isnan(starts)).sum(axis=0).max())]
    lengths = hours * np.exp(spread(0, 0.05, starts.shape))
    return Unit(
        rng=rng,
        expected_volume=expected,
        volume=volume,
        share=np.clip(spread(1 / 3, 0.025, count), 0.25, 0.42),
        exchange=0.016 * np.exp(spread(0, 0.25, count)),
        generation=rng.uniform(0.7, 1.4, count) * volume / 0.58 * 0.0027,
        kidney=np.where(rng.random(count) < 0.5, 0.0, rng.uniform(0.5, 4, count)),
        starts=starts,
        hours=lengths,
        noted=noted * np.exp(spread(0, 0.03, starts.shape)),
        gain=rng.uniform(0.012, 0.04, count) * volume,
        rough=rough,
    )


def _days(per_week: float) -> Array:
    if per_week == 3.5:
        return np.arange(0.0, DAYS, 2)
    return np.array([day for day in range(DAYS) if day % 7 in NIGHTS[per_week]], dtype=np.float64)


@dataclass(frozen=True)
class Truth:
    """What happened, (treatments, patients): urea water before and after [mmol/L], fluid beyond V [L], generation."""

    before: Array
    after: Array
    fluid_before: Array
    fluid_after: Array
    volume: Array
    made: Array


def walked(unit: Unit, size: float) -> Array:
    """A random walk that moves by so much in a month, (treatments, patients), 0 in the middle of the half year."""
    steps = unit.rng.normal(0, size * np.sqrt(1 / 30), (DAYS, unit.volume.size))
    path = np.cumsum(steps, axis=0)
    path -= path[DAYS // 2]
    day = np.nan_to_num(unit.starts / 24).astype(int).clip(0, DAYS - 1)
    return np.asarray(np.take_along_axis(path, day, axis=0))


def diets(unit: Unit) -> Array:
    """Generation over the patient's own mean, of each week, (treatments, patients): weeks resemble their neighbours."""
    weeks = DAYS // 7 + 2
    path = np.zeros((weeks, unit.volume.size))
    for week in range(1, weeks):
        path[week] = 0.7 * path[week - 1] + unit.rng.normal(0, 0.12 * unit.rough * np.sqrt(1 - 0.49), unit.volume.size)
    place = np.nan_to_num(unit.starts / 168).astype(int).clip(0, weeks - 1)
    return np.asarray(np.exp(np.take_along_axis(path, place, axis=0)))


def delivered(unit: Unit) -> Array:
    """Clearance that reached the blood [mL/min]: of the patient, of the night, with recirculation and stops."""
    shape, rng = unit.starts.shape, unit.rng
    of_patient = np.exp(rng.normal(0, 0.09, shape[1]) + walked(unit, 0.02 * unit.rough))
    back = np.where(rng.random(shape) < 0.1, unit.rough * rng.uniform(0.03, 0.12, shape), 0.0)
    running = 1 - np.where(rng.random(shape) < 0.3, unit.rough * rng.uniform(0, 0.06, shape), 0.0)
    return np.asarray(unit.noted * of_patient * np.exp(rng.normal(0, 0.04 * unit.rough, shape)) * (1 - back) * running)


def happened(unit: Unit) -> Truth:
    """All patients at once, phase by phase; each phase of each patient is stretched to a unit of time."""
    rng, there = unit.rng, unit.there
    clearance, made = delivered(unit) / 1000, unit.generation * diets(unit)
    volume = unit.volume * np.exp(walked(unit, 0.01))
    kidney = unit.kidney / 1000 * np.exp(-0.03 * np.nan_to_num(unit.starts) / 720)
    gap = np.diff(unit.starts, axis=0, prepend=unit.starts[:1] - 48) - np.vstack([unit.hours[:1], unit.hours[:-1]])
    gained = unit.gain / 24 * gap * np.exp(rng.normal(0, 0.25, gap.shape))
    left = rng.normal(0, 0.3, gap.shape)
    state = np.stack([np.full_like(unit.gain, 15.0)] * 2)
    lists: tuple[list[Array], ...] = ([], [], [], [])
    level = np.zeros_like(unit.gain)
    for at in tqdm(range(gap.shape[0]), desc="truth", leave=False, disable=None):
        off = (gap[at] * 60, level + gained[at], kidney[at])
        on = (unit.hours[at] * 60, left[at], kidney[at] + clearance[at])
        for which, (minutes, to, cleared) in enumerate((off, on)):
            lasting, until = np.where(there[at], minutes, 0.0), np.where(there[at], to, level)
            state = passed(unit, state, lasting, (level, until), volume[at], made[at], cleared)
            level = until
            lists[which].append(state[0])
            lists[2 + which].append(level)
    before, after, fluid_before, fluid_after = (np.array(each) for each in lists)
    return Truth(before, after, fluid_before, fluid_after, volume, made)


def passed(
    unit: Unit, state: Array, minutes: Array, level: tuple[Array, Array], volume: Array, made: Array, cleared: Array
) -> Array:
    """Concentrations after one phase, by a general solver."""
    inner, start = volume * (1 - unit.share), volume * unit.share + level[0]
    slope, flow = level[1] - level[0], unit.exchange * volume

    def rates(t: float, flat: Array) -> Array:
        outside, inside = flat.reshape(2, -1)
        swap = flow * (inside - outside) * minutes
        lost = (made - cleared * outside) * minutes - slope * outside
        return np.concatenate([(lost + swap) / (start + slope * t), -swap / inner])

    run = solve_ivp(rates, (0, 1), state.ravel(), method="DOP853", rtol=1e-7, atol=1e-9)
    return np.asarray(run.y[:, -1].reshape(2, -1))


def true_dose(unit: Unit, truth: Truth) -> Array:
    """Weekly standard Kt/V of the last month: what was made over the mean concentration before and the volume."""
    counts = unit.starts >= (DAYS - MONTH) * 24
    count = counts.sum(axis=0)
    made, before, volume = (
        np.where(counts, each, 0).sum(axis=0) / count for each in (truth.made, truth.before, truth.volume)
    )
    return np.asarray(made / before * WEEK / volume)


def drawn(unit: Unit, truth: Truth, most: NDArray[np.int64]) -> DeliveredPairs:
    """A pair a month for so many months, with the errors of drawing and of the laboratory."""
    rng, count = unit.rng, unit.volume.size
    places = np.full((count, 6), -1.0)
    pre, post = np.full((2, count, 6), np.nan)
    for patient in range(count):
        last = int(unit.there[:, patient].sum()) - 1
        for month in range(int(most[patient])):
            near = (DAYS - 6 - 29 * (int(most[patient]) - 1 - month)) * 24
            at = int(np.argmin(np.abs(np.nan_to_num(unit.starts[:last, patient], nan=1e9) - near)))
            places[patient, month] = at
            pre[patient, month], post[patient, month] = truth.before[at, patient], truth.after[at, patient]
    errors = np.exp(rng.normal(0, 0.03, (2, count, 6)))
    late = np.exp(rng.uniform(0, 0.03, (count, 6)))
    return DeliveredPairs(
        treatment=places, pre=np.round(0.93 * pre * errors[0], 1), post=np.round(0.93 * post * errors[1] * late, 1)
    )


def recorded(unit: Unit, truth: Truth) -> DeliveredTreatments:
    """What the record holds: the treatments with scales that are off, drinks unnoted, and a kidney measured once."""
    rng, shape = unit.rng, unit.starts.shape
    collected = unit.kidney * 0.95 * np.exp(rng.normal(0, 0.12, unit.kidney.size))
    scale = rng.normal(0, 0.15, (2, *shape))
    return DeliveredTreatments(
        starts=(unit.starts + rng.normal(0, 0.03, shape)).T,
        hours=(unit.hours + rng.normal(0, 0.03, shape)).T,
        clearance=unit.noted.T,
        fluid_before=(truth.fluid_before + scale[0] - rng.exponential(0.15, shape)).T,
        fluid_after=(truth.fluid_after + scale[1]).T,
        kidney_clearance=collected[:, None],
    )


def told(unit: Unit, truth: Truth, pairs: DeliveredPairs) -> DeliveredFit:
    """What the product says of the last month."""
    expected = unit.expected_volume
    return fit_delivered(
        treatments=recorded(unit, truth),
        prior=UreaPrior(volume=expected, generation=1.05 * expected / 0.58 * 0.0027),
        pairs=pairs,
        periods=[((DAYS - MONTH) * 24, DAYS * 24)],
    )


def of_dose(count: int = PATIENTS, seed: int = 41, rough: float = 1.0) -> dict[str, float]:
    """Coverage of the intervals and errors of the forecasts."""
    unit = a_unit(count, seed, rough)
    truth = happened(unit)
    pairs = drawn(unit, truth, unit.rng.integers(0, 7, count))
    found, dose = told(unit, truth, pairs), true_dose(unit, truth)
    whole, low, high = (getattr(found.dose, name).value[:, 0] for name in ("whole", "low", "high"))
    known = np.isfinite(whole)
    inside, off = (low <= dose) & (dose <= high), np.log(whole / dose)
    print(f"{count} patients, {known.sum()} answered")
    for many in range(7):
        those = known & (found.pairs == many)
        print(
            f"  {many} pairs: {those.sum():3d} patients, {100 * inside[those].mean():.0f} % inside, "
            f"error {100 * off[those].std():.1f} %, bias {100 * off[those].mean():+.1f} %, "
            f"half width {100 * np.median(np.log(high / low)[those]) / 2:.1f} %"
        )
    seen, several = found.foretold, known & (found.pairs >= 3)
    come = np.isfinite(seen.score)
    later = come & (np.cumsum(come, axis=1) > 1)
    ratio = np.log(np.asarray(pairs.post) / np.asarray(pairs.pre)) - np.log(seen.post / seen.pre)
    return {
        "coverage_90": round(float(inside[known].mean()), 3),
        "forecast_sd": round(float(ratio[later].std()), 4),
        "forecast_score_sd": round(float(seen.score[later].std()), 3),
        "dose_error_sd": round(float(off[several].std()), 4),
        "dose_half_width": round(float(np.median(np.log(high / low)[several]) / 2), 4),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--dose-only", action="store_true", help="without the fluid, which takes minutes")
    chosen = parser.parse_args()
    figures = of_dose()
    print("\nA unit where clearance and diet keep to nothing: everything 1.7 times as rough")
    figures["coverage_90_rough"] = of_dose(PATIENTS // 2, 42, rough=1.7)["coverage_90"]
    if not chosen.dose_only:
        with own_servers():
            figures |= planned_fluid.measure(DAYS)
    print(json.dumps({name: round(value, 4) for name, value in figures.items()}))


if __name__ == "__main__":
    main()
