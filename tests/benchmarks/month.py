"""How quick the month's pages are for a unit of 300 patients over 12 months, on a real PostgreSQL of its own.

    .venv/bin/python tests/benchmarks/month.py [--patients 300] [--months 12] [--asked 25]

The months' numbers are made up in the form in which they are kept; pages are asked for through Django's whole stack
(middleware, queries, templates), without the network. The baseline is a bare page of the same unit in the same run: the
ranges, which read one table. Progress is on the error stream; the last line is one JSON object:

board_p50_ms, board_p95_ms      the board of all patients
review_p50_ms, review_p95_ms    one patient's review
planner_p50_ms, planner_p95_ms  the planner's answer for `planner_schedules` candidate schedules, model fitted anew
bare_p50_ms                     the baseline page
board_over_bare                 board_p50_ms over bare_p50_ms
board_queries, review_queries, planner_queries
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from datetime import date, timedelta
from typing import Any

import numpy as np
from ground import own_servers
from tqdm import tqdm


def fill(patients: int, months: int) -> tuple[Any, date, Any]:
    """A unit of patients with their months; one of them has nights and bloods that a model can be fitted to."""
    from django.utils import timezone

    from dosing.models import PatientMonth
    from dosing.services.month.catalogue import MONTH_NUMBERS
    from homedialysis.accounts.models import Role
    from sessions.facts.months import month_before
    from tests.factories import PatientFactory, PrescriptionFactory, UnitFactory, UserFactory

    UnitFactory()
    rng = np.random.default_rng(7)
    last = month_before(timezone.localdate().replace(day=1))
    rows = []
    for index in tqdm(range(patients), desc="patients", file=sys.stderr):
        account = {} if index == patients - 1 else {"account": None}  # a password takes long to hash
        person = PatientFactory(joined_on=date(2020, 1, 1), **account)
        month = last
        for _ in range(months):
            rows.append(PatientMonth(patient=person, month=month, numbers=made_up(MONTH_NUMBERS, rng), stale=False,
                                     science_version="x", computed_at=timezone.now()))  # fmt: skip
            month = month_before(month)
    PatientMonth.objects.bulk_create(rows, batch_size=1000)
    PrescriptionFactory(patient=person, version=1, days_per_week=3, weekdays=[], minutes=240)
    with_bloods(person)
    return person, last, UserFactory(role=Role.NEPHROLOGIST)


def made_up(numbers: Any, rng: np.random.Generator) -> dict[str, Any]:
    """Some in range, some not, one in ten unknown."""
    from dosing.science.reasons import Reason

    found = {}
    for number in numbers.values():
        known = rng.random() > 0.1
        value = float(rng.integers(0, 3)) if number.key == "water" else float(rng.normal(5, 2))
        why = None if known else Reason("no_result").as_json()
        inputs = {"value": value, "minutes": 240}
        found[number.key] = {"value": value if known else None, "why": why, "inputs": inputs, "at": ""}
    return found


def with_bloods(person: Any) -> None:
    """Three weeks of treatments with a urea pair in each."""
    from django.utils import timezone

    from dosing.services.night.computing import compute
    from tests.factories import BloodFactory, record_night

    start = timezone.now().replace(microsecond=0) - timedelta(days=25)
    for day in (0, 2, 4, 7, 9, 11, 14, 16, 18):
        record = record_night(person, start + timedelta(days=day), pre_weight_kg=72.2, post_weight_kg=70)
        if day in (4, 11, 18):
            common = {"patient": person, "treatment": record}
            BloodFactory(**common, value=22, drawn_at=record.started_at, timing="pre")
            BloodFactory(**common, value=6.6, drawn_at=record.ended_at, timing="post", post_method="slow_flow")
        compute(record, at=timezone.now())


def timed(client: Any, address: str, asked: int) -> tuple[float, float, int]:
    """Middle and 95th percentile [ms] of a page, and its queries."""
    from django.db import connection

    queries: list[str] = []

    def counted(execute: Any, sql: str, *rest: Any) -> Any:
        queries.append(sql)
        return execute(sql, *rest)

    with connection.execute_wrapper(counted):
        first = client.get(address)
    assert first.status_code == 200, f"{address}: {first.status_code}"
    taken = []
    for _ in tqdm(range(asked), desc=address[:40], file=sys.stderr):
        began = time.perf_counter()
        client.get(address)
        taken.append(1000 * (time.perf_counter() - began))
    return float(np.percentile(taken, 50)), float(np.percentile(taken, 95)), len(queries)


def measure(patients: int, months: int, asked: int) -> dict[str, float]:
    from django.test import Client

    from dosing.services.planner.candidates import LEAST_FLOW, LEAST_HOURS, MOST_FLOW, MOST_HOURS, STEP_MINUTES
    from dosing.services.planner.patterns import NIGHTS

    person, month, user = fill(patients, months)
    client = Client(SERVER_NAME="localhost")
    client.force_login(user)
    lengths = round((MOST_HOURS - LEAST_HOURS) * 60 / STEP_MINUTES) + 1
    found: dict[str, float] = {"planner_schedules": len(NIGHTS) * lengths + MOST_FLOW - LEAST_FLOW + 1 + 3}
    pages = {
        "board": f"/months/{month:%Y-%m}/",
        "review": f"/patients/{person.pk}/months/{month:%Y-%m}/review/",
        "planner": f"/patients/{person.pk}/planner/",
        "bare": "/ranges/",
    }
    for name, address in pages.items():
        middle, slow, queries = timed(client, address, asked)
        found |= {f"{name}_p50_ms": middle, f"{name}_p95_ms": slow, f"{name}_queries": queries}
    found["board_over_bare"] = found["board_p50_ms"] / found["bare_p50_ms"]
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--patients", type=int, default=300)
    parser.add_argument("--months", type=int, default=12)
    parser.add_argument("--asked", type=int, default=25)
    chosen = parser.parse_args()
    with own_servers({"HASHED_STATIC": "false"}):
        found = measure(chosen.patients, chosen.months, chosen.asked)
    print(json.dumps({name: round(value, 1) for name, value in found.items()}))


if __name__ == "__main__":
    main()
