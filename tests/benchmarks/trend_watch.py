"""How fast trends are followed, and what they keep in memory, beside a plain NumPy pass over the same arrays.

    .venv/bin/python tests/benchmarks/trend_watch.py [--patients N] [--nights N]

One core. The plain pass reads each night of the same arrays once and adds it to a running mean: what nobody who looks
at every night in turn can go below. Rates are by processor time, the better of three. The last line is one JSON object:

patients_per_second       patients of so many nights, one quantity, followed to the last night
nights_per_second         the same in nights
plain_patients_per_second the plain pass
times_the_plain_pass      how many times longer ours takes
patient_pages_per_second  all seven quantities of one patient with charts and numbers, half a year of nights
kept_kib_100, kept_kib_800  memory in use beyond inputs and answers, at most, for 100 and for 800 nights a patient
"""

from __future__ import annotations

import argparse
import json
import sys
import time
import tracemalloc
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from tqdm import tqdm

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from dosing.science.drift import follow
from dosing.services.night.trend_of_patient import WATCHES, Series, trends_of

AT_ONCE = 256
"""Patients in one call: more do not go faster, their arrays leave the processor's cache."""


def some_patients(count: int, nights: int) -> tuple[np.ndarray, np.ndarray]:
    """Values and the changes that the flow makes, one night in twenty missed."""
    rng = np.random.default_rng(5)
    change = 0.4 * rng.normal(0, 20, (count, nights))
    values = 100 + change + rng.normal(0, 9, (count, nights))
    values[rng.random((count, nights)) < 0.05] = np.nan
    return values, change


def ours(values: np.ndarray, change: np.ndarray) -> int:
    told = 0
    for at in range(0, len(values), AT_ONCE):
        part = slice(at, at + AT_ONCE)
        told += int(follow(values=values[part], expected=change[part], usual_scatter=12, only_last=True).told.sum())
    return told


def plain(values: np.ndarray, change: np.ndarray) -> float:
    mean = np.zeros(len(values))
    for night in range(values.shape[1]):
        compared = values[:, night] - change[:, night]
        mean = np.where(np.isnan(compared), mean, 0.9 * mean + 0.1 * compared)
    return float(mean.sum())


def page(nights: int = 130) -> Callable[[], int]:
    """Everything that one patient's record needs: seven quantities, half a year at five nights a week."""
    rng = np.random.default_rng(6)
    days = [date(2026, 1, 5) + timedelta(days=night * 7 // 5) for night in range(nights)]
    flows, gauges = rng.integers(290, 311, nights).tolist(), [15] * nights
    series = {key: Series(values=rng.normal(100, 9, nights).tolist(), flows=flows, gauges=gauges) for key in WATCHES}
    return lambda: sum(len(verdict.numbers) for verdict in trends_of(days=days, series=series).values())


def seconds(work: Callable[[], object], times: int = 3) -> float:
    """Processor time of the fastest of several runs, after one that is not counted."""
    work()
    taken = []
    for _ in range(times):
        began = time.process_time()
        work()
        taken.append(time.process_time() - began)
    return min(taken)


def kept_kib(nights: int) -> float:
    values, change = some_patients(AT_ONCE, nights)
    tracemalloc.start()
    ours(values, change)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--patients", type=int, default=2048)
    parser.add_argument("--nights", type=int, default=200)
    options = parser.parse_args()
    values, change = some_patients(options.patients, options.nights)
    steps: dict[str, Callable[[], float]] = {
        "ours": lambda: seconds(lambda: ours(values, change)),
        "plain": lambda: seconds(lambda: plain(values, change)),
        "page": lambda: seconds(page()),
        "100": lambda: kept_kib(100),
        "800": lambda: kept_kib(800),
    }
    found = {name: step() for name, step in tqdm(steps.items(), desc="steps", disable=None)}
    figures = {
        "patients": options.patients,
        "nights": options.nights,
        "patients_per_second": round(options.patients / found["ours"]),
        "nights_per_second": round(options.patients * options.nights / found["ours"]),
        "plain_patients_per_second": round(options.patients / found["plain"]),
        "times_the_plain_pass": round(found["ours"] / found["plain"], 1),
        "patient_pages_per_second": round(1 / found["page"], 1),
        "kept_kib_100": round(found["100"]),
        "kept_kib_800": round(found["800"]),
    }
    for name, value in figures.items():
        print(f"{name:28}{value:>12}")
    print(json.dumps(figures))


if __name__ == "__main__":
    main()
