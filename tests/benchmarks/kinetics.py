"""How fast the urea model is, beside SciPy's general solver, in one process on one core.

    .venv/bin/python tests/benchmarks/kinetics.py

SciPy runs `solve_ivp` (LSODA) phase by phase from a body without urea, week after week, until the concentrations
before treatment stop changing. It is timed on a sample and taken per patient; everything of ours is timed whole,
checks of the inputs and all answers included. All is counted in processor time, so that other work on the machine
favours nobody. The last line is one JSON object:

speedup_over_scipy    rate for 1,000 patients or 1,000 schedules, the lower, over SciPy's at the cheapest tolerance
                      that agrees with ours to 1e-6 (not at the tolerance that matches our accuracy: printed above it)
relative_difference   largest difference of any concentration from SciPy at a tolerance of 1e-12
planner_grid_ms       7 patterns x 12 lengths x 12 flows, median of several
fit_1000_s            1,000 patients, eight weeks of three treatments as delivered: the slower of one and three pairs
one_fit_ms            one patient, half a year of nights as delivered and six pairs: fit and interval of the last
                      month, median of several
unit_month_speedup    the same for a unit of 1,000 patients, a rate over that of the same least squares by SciPy's
                      `least_squares` with `solve_ivp`, at tolerances that agree with ours to 1e-3 of the volume
peak_mib              memory in use beyond inputs and answers, at most, for 64,000 patients
"""

from __future__ import annotations

import json
import os
import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import least_squares
from tqdm import tqdm

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from dosing.science.delivered import DeliveredTreatments
from dosing.science.delivered_fit import DeliveredFit, DeliveredPairs, UreaPrior, fit_delivered
from dosing.science.delivered_search import UNKNOWNS, ModelError
from dosing.science.kinetics import (
    PatientParameters,
    Schedule,
    SteadyWeek,
    weekly_starts,
    weekly_steady_state,
)

SAMPLE = 12
PATTERNS = ([0, 3], [0, 2, 4], [0, 1, 3, 5], [0, 1, 2, 4, 5], [0, 1, 2, 3, 4, 5], [0, 1, 2, 3, 4, 5, 6], [0, 2, 4, 6])


def some_patients(count: int) -> PatientParameters:
    rng = np.random.default_rng(20)
    return PatientParameters(
        volume=rng.uniform(25, 60, count),
        generation=rng.uniform(0.08, 0.35, count),
        kidney_clearance=rng.uniform(0, 5, count),
        fluid_gain=rng.uniform(0.2, 1.5, count),
    )


def thrice() -> Schedule:
    starts = weekly_starts(days=[0, 2, 4], at=8)
    return Schedule(starts=starts, hours=4.0, koa=800, blood_flow=300, dialysate_flow=500)


def some_schedules(count: int) -> Schedule:
    """Three to six treatments of 2 to 8 hours; places without one are NaN."""
    rng = np.random.default_rng(21)
    starts = np.full((count, 6), np.nan)
    for row in starts:
        days = PATTERNS[rng.integers(1, 5)]
        row[: len(days)] = weekly_starts(days=days, at=8)
    hours, flow = rng.uniform(2, 8, (count, 1)), rng.uniform(180, 400, (count, 1))
    return Schedule(starts=starts, hours=hours, koa=800, blood_flow=flow, dialysate_flow=500)


def seconds(work: Callable[[], Any], repeats: int = 7) -> float:
    """Median processor time of a call, after one to warm up."""
    work()
    taken = []
    for _ in range(repeats):
        began = time.process_time()
        work()
        taken.append(time.process_time() - began)
    return median(taken)


Plan = list[tuple[float, float, float, float]]
"""(minutes, volume at the start [L], its slope [L/min], clearance [L/min]) of each phase of a cycle."""


def plan_of(patient: dict[str, float], starts: Any, minutes: float, kd: Any) -> Plan:
    """The phases of a week, worked out here again from the definition of the model."""
    volume, kidney = patient["volume"] / 3, patient["kidney_clearance"] / 1000
    plan: Plan = []
    ended = starts[-1] * 60 + minutes - 10080
    for start, clearance in zip(starts * 60, kd, strict=True):
        off = start - ended
        gained = patient["fluid_gain"] / 1440 * off
        plan.append((off, volume, gained / off, kidney))
        plan.append((minutes, volume + gained, -gained / minutes, kidney + clearance / 1000))
        ended = start + minutes
    return plan


def by_scipy(patient: dict[str, float], plan: Plan, tolerance: float) -> tuple[np.ndarray, int]:
    """Concentrations at the start of each phase of the last week, and the weeks it took from rest.

    It stops when a week changes them by less than ten tolerances: a week shrinks what is left at least tenfold.
    """
    exchange, inner = 0.016 * patient["volume"], patient["volume"] * 2 / 3
    state, last = np.zeros(2), np.zeros(0)
    for week in range(1, 100):
        seen = []
        for minutes, volume, slope, clearance in plan:

            def rates(t: float, c: Any, w: float = volume, s: float = slope, K: float = clearance) -> list[float]:
                flow = exchange * (c[1] - c[0])
                return [(patient["generation"] - (K + s) * c[0] + flow) / (w + s * t), -flow / inner]

            seen.append(state[0])
            run = solve_ivp(rates, (0, minutes), state, method="LSODA", rtol=tolerance, atol=tolerance * 1e-2)
            state = run.y[:, -1]
        now = np.array(seen)
        if last.size and np.max(np.abs(last - now) / now) < 10 * tolerance:
            return now, week
        last = now
    raise RuntimeError("no steady state in 100 weeks")


def ours_in_turn(week: SteadyWeek, row: int) -> np.ndarray:
    """Concentrations at the start of each phase, as `by_scipy` gives them."""
    pre, post = week.pre_water.value[row], week.post_water.value[row]
    known = ~np.isnan(pre)
    pre, post = pre[known], post[known]
    return np.stack([np.roll(post, 1), pre], axis=1).ravel()


def sample_plans(
    schedule: Schedule, patient: PatientParameters, week: SteadyWeek
) -> list[tuple[dict[str, float], Plan]]:
    count = week.standard_ktv.value.size
    rows = np.linspace(0, count - 1, min(SAMPLE, count)).astype(int)
    plans = []
    for row in rows:
        names = ("volume", "generation", "kidney_clearance", "fluid_gain")
        one = {n: float(np.broadcast_to(getattr(patient, n), (count,))[row]) for n in names}
        starts = np.broadcast_to(schedule.starts, week.pre_water.value.shape)[row]
        there = ~np.isnan(starts)
        minutes = 60 * float(np.broadcast_to(np.asarray(schedule.hours).ravel(), (count,))[row])
        plans.append((one | {"row": row}, plan_of(one, starts[there], minutes, week.clearance.value[row][there])))
    return plans


def beside_scipy(name: str, schedule: Schedule, patient: PatientParameters) -> dict[str, float]:
    """Our rate and SciPy's, at the cheapest tolerance good for 1e-6 and at the one that matches us."""
    week = weekly_steady_state(schedule=schedule, patient=patient)
    count = week.standard_ktv.value.size
    repeats = 7 if count > 1 else 50
    clock = time.process_time
    ours = seconds(lambda: weekly_steady_state(schedule=schedule, patient=patient), repeats) / count
    plans = sample_plans(schedule, patient, week)
    print(f"\n{name}: ours {ours * 1e6:.1f} us each")
    timed = {}
    for tolerance in (1e-5, 1e-6, 1e-7, 1e-8, 1e-10, 1e-12):
        worst, began, weeks = 0.0, clock(), 0
        for one, plan in tqdm(plans, desc=f"LSODA {tolerance:g}", leave=False, disable=None):
            theirs, taken = by_scipy(one, plan, tolerance)
            weeks += taken
            worst = max(worst, float(np.max(np.abs(theirs / ours_in_turn(week, int(one["row"])) - 1))))
        each = (clock() - began) / len(plans)
        timed[tolerance] = (each, worst)
        print(
            f"  LSODA {tolerance:.0e}: {each * 1e3:7.1f} ms each, {weeks / len(plans):.1f} weeks, "
            f"differs from ours by {worst:.1e}, {each / ours:,.0f} times as long"
        )
    enough = min(each for each, worst in timed.values() if worst < 1e-6)
    return {"faster": enough / ours, "matched": timed[1e-12][0] / ours, "difference": timed[1e-12][1]}


def planner_grid() -> float:
    """Milliseconds for 7 patterns x 12 lengths x 12 blood flows of one patient."""
    starts = np.full((7, 1, 1, 7), np.nan)
    for row, days in zip(starts[:, 0, 0], PATTERNS, strict=True):
        row[: len(days)] = weekly_starts(days=days, at=8)
    schedule = Schedule(
        starts=starts,
        hours=np.linspace(2, 9, 12)[:, None, None],
        koa=800,
        blood_flow=np.linspace(150, 450, 12)[:, None],
        dialysate_flow=500,
    )
    patient = PatientParameters(volume=35, generation=0.19, kidney_clearance=1, fluid_gain=1)
    week = weekly_steady_state(schedule=schedule, patient=patient)
    assert week.standard_ktv.value.shape == (7, 12, 12)
    answered = int(week.standard_ktv.known.sum())
    taken = 1e3 * seconds(lambda: weekly_steady_state(schedule=schedule, patient=patient), 15)
    print(f"\nplanner grid 7 x 12 x 12: {taken:.1f} ms, {answered} of 1008 answered")
    return taken


def fits() -> float:
    """Seconds for 1,000 patients after eight steady weeks: the slower of one pair and three."""
    schedule, patient, weeks = thrice(), some_patients(1000), 8
    week = weekly_steady_state(schedule=schedule, patient=patient)
    noise = np.exp(0.03 * np.random.default_rng(22).standard_normal((2, 1000, 3)))
    pre, post = week.pre_plasma.value * noise[0], week.post_plasma.value * noise[1]
    asked: dict[str, Any] = {
        "treatments": DeliveredTreatments(
            starts=(np.asarray(schedule.starts) + 168 * np.arange(weeks)[:, None]).ravel(),
            hours=4.0,
            clearance=np.tile(week.clearance.value, weeks),
            fluid_before=np.tile(week.ultrafiltration.value, weeks),
            kidney_clearance=np.asarray(patient.kidney_clearance)[:, None],
        ),
        "prior": UreaPrior(volume=np.full(1000, 40.0), generation=0.2),
        "periods": [(168.0 * (weeks - 4), 168.0 * weeks)],
    }
    slowest = 0.0
    for name, places in {"one pair": [1], "three pairs": [0, 1, 2]}.items():
        drawn = DeliveredPairs(
            treatment=[3 * weeks - 6 + each for each in places], pre=pre[:, places], post=post[:, places]
        )
        found = fit_delivered(**asked, pairs=drawn)
        taken = seconds(lambda drawn=drawn: fit_delivered(**asked, pairs=drawn), 3)  # type: ignore[misc]
        print(
            f"fit of 1,000, {name}: {taken:.3f} s, {found.volume.known.sum()} found, {found.steps.max()} steps at most"
        )
        slowest = max(slowest, taken)
    return slowest


STILL = ModelError(clearance_drift=0.0, diet_drift=0.0)
"""Without what wanders, whose covariances a general optimiser would have to be told too."""
PAIRS = 6


def a_unit(count: int) -> tuple[DeliveredTreatments, UreaPrior, DeliveredPairs, float]:
    """Half a year of three to seven treatments a week, each its own, and pairs of bloods; hours of the last month."""
    rng = np.random.default_rng(23)
    starts = np.full((count, 182), np.nan)
    for row in starts:
        days = np.array([day for day in range(182) if day % 7 in PATTERNS[rng.integers(1, 6)]])
        row[: days.size] = 24 * days + 21 + rng.uniform(-1, 1, days.size)
    places = np.linspace(20, np.sum(~np.isnan(starts), axis=1) - 2, PAIRS, axis=-1).astype(int)
    pre = rng.uniform(15, 25, (count, PAIRS))
    return (
        DeliveredTreatments(
            starts=starts,
            hours=rng.uniform(3, 7, (count, 1)) * rng.uniform(0.95, 1.05, starts.shape),
            clearance=rng.uniform(170, 240, (count, 1)) * rng.uniform(0.95, 1.05, starts.shape),
            fluid_before=rng.uniform(1.0, 2.5, starts.shape),
            fluid_after=rng.uniform(-0.2, 0.2, starts.shape),
            kidney_clearance=rng.uniform(0, 3, (count, 1)),
        ),
        UreaPrior(volume=rng.uniform(25, 45, count), generation=0.2),
        DeliveredPairs(treatment=places, pre=pre, post=pre * rng.uniform(0.25, 0.4, (count, PAIRS))),
        24.0 * 152,
    )


def of_row(given: Any, row: int) -> dict[str, Any]:
    """One patient's part of what a unit is asked."""
    values = {name: np.asarray(getattr(given, name)) for name in given.__dataclass_fields__}
    return {name: value[row] if value.ndim else value for name, value in values.items()}


def one_fit() -> float:
    """Milliseconds of the patient who is treated most often."""
    treatments, prior, pairs, month = a_unit(40)
    row = int(np.argmax(np.sum(~np.isnan(np.asarray(treatments.starts)), axis=1)))
    asked: dict[str, Any] = {
        "treatments": DeliveredTreatments(**of_row(treatments, row)),
        "prior": UreaPrior(**of_row(prior, row)),
        "pairs": DeliveredPairs(**of_row(pairs, row)),
        "periods": [(month, month + 720)],
    }
    found = fit_delivered(**asked)
    assert found.dose.low.known.all()
    taken = 1e3 * seconds(lambda: fit_delivered(**asked), 25)
    print(f"\none patient, {int(np.sum(~np.isnan(asked['treatments'].starts)))} treatments: {taken:.1f} ms")
    return taken


def unit_month() -> float:
    """How many times SciPy's rate the fit of a unit has, both in processor time."""
    treatments, prior, pairs, month = a_unit(1000)
    asked: dict[str, Any] = {"treatments": treatments, "prior": prior, "pairs": pairs, "error": STILL}
    clock = time.process_time
    began = clock()
    found = fit_delivered(**asked, periods=[(month, month + 720)])
    ours = (clock() - began) / 1000
    assert found.volume.known.all()
    began, worst, rows = clock(), 0.0, (3, 500, 900)
    for row in tqdm(rows, desc="least_squares", leave=False, disable=None):
        worst = max(worst, abs(fitted_by_scipy(treatments, prior, pairs, row, found) / found.volume.value[row] - 1))
    theirs = (clock() - began) / len(rows)
    print(
        f"a unit of 1,000: {1e3 * ours:.1f} ms each; least_squares and solve_ivp {theirs:.1f} s each, "
        f"volumes differ by {worst:.0e}"
    )
    if worst > 1e-3:
        raise RuntimeError("SciPy finds other volumes: the two do not solve the same problem")
    return theirs / ours


def fitted_by_scipy(
    treatments: DeliveredTreatments, prior: UreaPrior, pairs: DeliveredPairs, row: int, ours: DeliveredFit
) -> float:
    """The volume that SciPy finds. The course is integrated treatment by treatment, from its first two weeks on."""
    given, known, seen = of_row(treatments, row), of_row(prior, row), of_row(pairs, row)
    last = int(seen["treatment"].max()) + 1
    scale = float(ours.scale[row])
    spread = np.array([float(known[f"{name}_spread"]) for name in UNKNOWNS])
    ratio = np.log(seen["post"] / seen["pre"])
    own = STILL.laboratory**2 + (STILL.rounding / np.stack([seen["pre"], seen["post"]])) ** 2
    own[1] += (STILL.night * scale * ratio) ** 2
    roots = [np.linalg.inv(np.linalg.cholesky(STILL.diet**2 + np.diag(each))) for each in own.T]

    def left(moved: Any) -> Any:
        before, after = walked(given, last, np.exp(moved) * [known["volume"], 1, known["generation"], 1, 0.016])
        off = [
            root @ np.log([pre / 0.93 / before[at], post / 0.93 / after[at]])
            for root, at, pre, post in zip(roots, seen["treatment"], seen["pre"], seen["post"], strict=True)
        ]
        return np.concatenate([moved / spread, *off])

    found = least_squares(left, np.zeros(len(UNKNOWNS)), diff_step=[1e-4], xtol=1e-6, ftol=1e-9)
    return float(known["volume"] * np.exp(found.x[0]))


def walked(given: dict[str, Any], last: int, person: Any) -> tuple[Any, Any]:
    """Plasma-water urea before and after each treatment of a course; it starts anywhere, twenty treatments early.

    person: V, delivered over noted clearance, G, kidney over noted, X/V.
    """
    volume, clearance, generation, kidneys, exchange = person
    state, inner = np.full(2, 60 * generation), volume * 2 / 3
    kidney = kidneys * float(given["kidney_clearance"][0]) / 1000
    before, after = np.zeros(last), np.zeros(last)
    ended, level = given["starts"][0] - 40.0, 0.0
    for at in range(last):
        levels = (level, given["fluid_before"][at], given["fluid_after"][at])
        parts = (
            (given["starts"][at] - ended, kidney),
            (given["hours"][at], kidney + clearance * given["clearance"][at] / 1000),
        )
        for phase, (hours, cleared) in enumerate(parts):
            slope, start = (levels[phase + 1] - levels[phase]) / (60 * hours), volume / 3 + levels[phase]

            def rates(t: float, c: Any, w: float = start, s: float = slope, K: float = cleared) -> list[float]:
                flow = exchange * volume * (c[1] - c[0])
                return [(generation - (K + s) * c[0] + flow) / (w + s * t), -flow / inner]

            if phase:
                before[at] = state[0]
            state = solve_ivp(rates, (0, 60 * hours), state, method="LSODA", rtol=1e-6, atol=1e-8).y[:, -1]
        after[at], level, ended = state[0], levels[2], given["starts"][at] + given["hours"][at]
    return before, after


def growth() -> float:
    """Time each and memory beyond inputs and answers as the number of patients grows; MiB at the largest."""
    schedule, extra = thrice(), 0.0
    print()
    for count in tqdm((1000, 4000, 16_000, 64_000), desc="growing batches", leave=False, disable=None):
        patient = some_patients(count)
        each = seconds(lambda patient=patient: weekly_steady_state(schedule=schedule, patient=patient), 3) / count  # type: ignore[misc]
        tracemalloc.start()
        week = weekly_steady_state(schedule=schedule, patient=patient)
        held, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        extra = (peak - held) / 2**20
        known = week.standard_ktv.known.sum()
        print(f"{known:6d} patients: {each * 1e6:.1f} us each, {extra:.1f} MiB beyond answers of {held / 2**20:.1f}")
    return extra


def main() -> None:
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    one = PatientParameters(volume=np.array([35.0]), generation=0.19, kidney_clearance=1, fluid_gain=1.44)
    single = beside_scipy("one patient", thrice(), one)
    patients = beside_scipy("1,000 patients", thrice(), some_patients(1000))
    schedules = beside_scipy("1,000 schedules of one patient", some_schedules(1000), one)
    print(
        f"\ntimes SciPy's rate, at 1e-6: one {single['faster']:,.0f}, 1,000 patients {patients['faster']:,.0f}, "
        f"1,000 schedules {schedules['faster']:,.0f}; at a tolerance of 1e-12: {single['matched']:,.0f}, "
        f"{patients['matched']:,.0f}, {schedules['matched']:,.0f}"
    )
    figures = {
        "speedup_over_scipy": round(min(patients["faster"], schedules["faster"])),
        "relative_difference": max(kind["difference"] for kind in (single, patients, schedules)),
        "planner_grid_ms": round(planner_grid(), 1),
        "fit_1000_s": round(fits(), 3),
        "one_fit_ms": round(one_fit(), 1),
        "unit_month_speedup": round(unit_month()),
        "peak_mib": round(growth(), 1),
    }
    print(json.dumps(figures))


if __name__ == "__main__":
    main()
