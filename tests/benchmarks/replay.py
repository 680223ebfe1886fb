"""How fast history is judged again, and how quick the preview of a limit is, on a real PostgreSQL of its own.

    .venv/bin/python tests/benchmarks/replay.py [--patients 300] [--long 6]

Made-up patients have a quarter of nights each, for the preview; some have one year and one has `--long` years, for
the replay. Each night has six readings and all its numbers. The limit beside which the rate is set is a plain NumPy
pass: the same quantities as arrays, each set beside its limit and held against its neighbours, without reading,
writing, reasons or words. Progress is on the error stream; the last line is one JSON object:

records_per_second_per_core   records judged again by one worker, reading and writing included, by the clock
records_per_cpu_second        the same by the worker's own processor time; the database's is left out
rules_records_per_second      the rules alone, over nights that were read already
numpy_records_per_second      the plain NumPy pass
share_of_numpy                rules_records_per_second over numpy_records_per_second
two_workers_speedup           rate of two worker processes over that of one
peak_mib_one_year             memory that one patient's replay takes at most, by tracemalloc, with one year of nights
peak_mib_long                 the same with `long_years` years: flat means no more than that
fresh_ms_quiet, fresh_ms_busy time in which a fresh record is evaluated, middle of several, alone and beside a replay
preview_patients, preview_treatments, preview_s   a unit-wide limit on the venous pressure, shown before it is set
preview_numbers_s             the same for a limit on a computed number
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import time
import tracemalloc
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from statistics import median
from typing import Any

import numpy as np
from ground import own_servers, set_up
from tqdm import tqdm

NOW = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
DAY = timedelta(days=1)
READINGS = 6
A_YEAR = 8
"""Patients with one year of nights, for the rate."""


def nights_of(patient: Any, order: Any, count: int, rng: np.random.Generator) -> Iterator[tuple[Any, list[Any], Any]]:
    """Records with readings and numbers, every other night up to NOW; one in twenty has something beyond a limit."""
    from dosing.models import RecordNumbers
    from sessions.models import Reading, TreatmentRecord
    from tests.alerts.made_nights import USUAL, USUAL_READING, night

    numbers = night(0).numbers
    for index in range(count):
        start = NOW - 2 * DAY * (count - index)
        beyond = rng.random() < 0.05
        record = TreatmentRecord(
            patient=patient, prescription=order, state="finished", night=start.date(), started_at=start,
            ended_at=start + timedelta(minutes=240), finished_at=start + timedelta(hours=10), document={}, marks=[],
            recorded_by=patient.account, received_at=start + timedelta(hours=10), **USUAL,
        )  # fmt: skip
        read = [
            Reading(
                record=record,
                at=start + timedelta(minutes=35 * (place + 1)),
                **USUAL_READING | {"venous_mmhg": float(round(130 + rng.normal(0, 9) + 130 * beyond))},
            )
            for place in range(READINGS)
        ]
        rate = {"value": 9 + rng.normal(0, 0.4) + 2 * beyond}
        own = numbers | {
            "uf_rate": numbers["uf_rate"] | rate,
            "venous_median": numbers["venous_median"] | {"value": 130.0},
        }
        kept = RecordNumbers(record=record, science_version="1", record_revision=1, computed_at=start, numbers=own)
        yield record, read, kept


def make_patients(counts: list[int]) -> list[Any]:
    """A patient with so many nights for each count, written in bulk."""
    from dosing.models import RecordNumbers
    from sessions.models import Reading, TreatmentRecord
    from tests.factories import PatientFactory, PrescriptionFactory

    rng = np.random.default_rng(5)
    made = []
    for count in tqdm(counts, desc="patients", disable=None):
        patient = PatientFactory()
        order = PrescriptionFactory(patient=patient, version=1, days_per_week=3.5, weekdays=[])
        records, readings, numbers = zip(*nights_of(patient, order, count, rng), strict=True)
        TreatmentRecord.objects.bulk_create(records, batch_size=500)
        Reading.objects.bulk_create([row for rows in readings for row in rows], batch_size=2000)
        RecordNumbers.objects.bulk_create(numbers, batch_size=200)
        made.append(patient)
    return made


def run_of(patients: list[Any], nurse: Any) -> Any:
    """A run whose chunks are those of these patients only."""
    from alerts.models import Replay
    from alerts.services import replaying

    Replay.objects.update(state="done")
    run = replaying.start(why="Benchmark.", by=nurse, at=NOW)
    run.chunks.exclude(patient__in=patients).delete()
    return run


def work_off() -> None:
    """One worker, until nothing is left."""
    from alerts.services import replaying

    while replaying.work(now=lambda: NOW, until=NOW + timedelta(seconds=1), news=lambda: None):
        pass


def worker() -> None:
    """The same in a process of its own."""
    set_up()
    from django.db import connection

    connection.close()
    work_off()


def rate_of_one(patients: list[Any], nurse: Any) -> dict[str, float]:
    run = run_of(patients, nurse)
    clock, cpu = time.perf_counter(), time.process_time()
    work_off()
    seconds, busy = time.perf_counter() - clock, time.process_time() - cpu
    records = sum(run.chunks.values_list("records", flat=True))
    return {"records_per_second_per_core": records / seconds, "records_per_cpu_second": records / busy}


def rate_of_two(patients: list[Any], nurse: Any) -> float:
    run = run_of(patients, nurse)
    context = multiprocessing.get_context("spawn")
    workers = [context.Process(target=worker) for _ in range(2)]
    for each in workers:
        each.start()
    while not run.chunks.exclude(done_at=None).exists():  # the processes start up; that is not counted
        time.sleep(0.01)
    before, clock = sum(run.chunks.values_list("records", flat=True)), time.perf_counter()
    for each in workers:
        each.join()
    seconds = time.perf_counter() - clock
    return (sum(run.chunks.values_list("records", flat=True)) - before) / seconds


def rules_alone(patients: list[Any]) -> tuple[float, list[Any]]:
    from alerts.rules import RULES
    from alerts.services.history import NIGHTS_AND_BLOODS, histories_of

    histories = histories_of(patients, since=NOW - 365 * DAY, until=NOW, at=NOW, parts=NIGHTS_AND_BLOODS)
    clock = time.perf_counter()
    for history in histories:
        for rule in RULES:
            if not rule.replaces:
                list(rule.see(history, NOW))
                list(rule.not_judged(history))
    return sum(len(history.nights) for history in histories) / (time.perf_counter() - clock), histories


def numpy_pass(histories: list[Any], repeats: int = 20) -> float:
    """Every quantity that a limit rule reads, as an array of nights, beside its limit; two of three neighbours hold."""
    nights = [night for history in histories for night in history.nights]
    keys = ("uf_rate", "uf_volume", "gain_percent", "off_target", "delivered", "standard_ktv", "blood_processed",
            "blood_flow_median", "bleeding")  # fmt: skip
    columns = ("venous_mmhg", "arterial_mmhg", "tmp_mmhg", "systolic", "conductivity_ms_cm", "dialysate_temperature_c")
    numbers = np.array([[night.number(key) or np.nan for key in keys] for night in nights])
    readings = np.array([[[getattr(row, name) for name in columns] for row in night.readings] for night in nights])
    limits, edges = np.full(len(keys), 13.0), np.array([250, 0, 300, 200, 14.7, 38.0])
    lower = np.array([20, -250, -50, 90, 13.3, 34.5])
    clock = time.perf_counter()
    for _ in range(repeats):
        struck = numbers > limits
        held = struck[2:].astype(int) + struck[1:-1] + struck[:-2] >= 2
        worst, least = np.nanmax(readings, axis=1), np.nanmin(readings, axis=1)
        found = (worst > edges).any(axis=1) | (least < lower).any(axis=1)
    seconds = (time.perf_counter() - clock) / repeats
    assert held.shape[0] == len(nights) - 2
    assert found.any()
    return len(nights) / seconds


def peak_of(patient: Any, nurse: Any) -> float:
    run_of([patient], nurse)
    tracemalloc.start()
    work_off()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 2**20


def fresh(patient: Any, times: int, first: int) -> float:
    """Milliseconds in which a record that has just come in is evaluated, the middle of some."""
    from alerts.services.evaluation import evaluate_pending
    from tests.factories import record_night

    took = []
    for index in range(first, first + times):
        at = NOW + timedelta(hours=9 * index)
        record_night(patient, at - timedelta(hours=8), at=at)
        clock = time.perf_counter()
        assert evaluate_pending(at=at) >= 1
        took.append(1000 * (time.perf_counter() - clock))
    return median(took)


def fresh_beside_replay(patients: list[Any], nurse: Any) -> tuple[float, float]:
    quiet = fresh(patients[0], 5, 0)
    run = run_of(patients, nurse)
    process = multiprocessing.get_context("spawn").Process(target=worker)
    process.start()
    while not run.chunks.exclude(done_at=None).exists():
        time.sleep(0.01)
    busy = fresh(patients[0], 5, 5)
    assert run.chunks.filter(done_at=None).exists(), "the replay was over too soon to be beside anything"
    process.terminate()
    process.join()
    return quiet, busy


def preview_of(name: str, value: float, nurse: Any) -> tuple[float, Any]:
    from alerts.services.limit_preview import preview
    from alerts.services.limit_setting import limit_row

    row = limit_row(name=name, patient=None, value=value, why="x", by=nurse, at=NOW)
    clock = time.perf_counter()
    found = preview(row, at=NOW)
    return time.perf_counter() - clock, found


def measure(patients: int, long: int) -> dict[str, Any]:
    from homedialysis.accounts.models import Role
    from tests.factories import UnitFactory, UserFactory

    UnitFactory()
    nurse = UserFactory(role=Role.NURSE)
    everybody = make_patients([45] * patients + [182] * A_YEAR + [182 * long])
    quarter, year, oldest = everybody[:patients], everybody[patients:-1], everybody[-1]
    took, shown = preview_of("venous_high", 240, nurse)
    found: dict[str, Any] = {
        "preview_patients": shown.patients, "preview_treatments": shown.treatments, "preview_s": took,
        "preview_numbers_s": preview_of("uf_rate", 11, nurse)[0],
    }  # fmt: skip
    found |= rate_of_one(year, nurse)
    found["two_workers_speedup"] = rate_of_two(quarter + year, nurse) / found["records_per_second_per_core"]
    found["rules_records_per_second"], histories = rules_alone(year)
    found["numpy_records_per_second"] = numpy_pass(histories)
    found["share_of_numpy"] = found["rules_records_per_second"] / found["numpy_records_per_second"]
    found["peak_mib_one_year"], found["peak_mib_long"] = peak_of(year[0], nurse), peak_of(oldest, nurse)
    found["long_years"] = long
    found["fresh_ms_quiet"], found["fresh_ms_busy"] = fresh_beside_replay([*year, *quarter], nurse)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--patients", type=int, default=300)
    parser.add_argument("--long", type=int, default=6)
    chosen = parser.parse_args()
    with own_servers():
        found = measure(chosen.patients, chosen.long)
    print(json.dumps({name: round(value, 3) if value < 100 else round(value) for name, value in found.items()}))


if __name__ == "__main__":
    main()
