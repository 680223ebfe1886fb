"""Whether the planner's fluid is what really comes off: the demo's patients, each on the schedule in force.

    .venv/bin/python tests/benchmarks/planned_fluid.py [--days 182]

The demo is made up by a program that shares no code with the planner: bodies that gain, drink, sweat and are weighed,
and people who set the machine. It takes minutes. The last line is one JSON object:

fluid_ratio             the planner's fluid of a night over what the machine really took off, mean over the patients
fluid_ratio_least, fluid_ratio_most
fluid_share_error       share of nights that need more than the limit, foretold less come, mean of its size over months
fluid_share_bias        the same with its sign, each month by its nights: above zero foretells too many
fluid_share_chance      what fluid_share_error would be by chance alone if every share foretold were true
fluid_share_run         foretold less the share of nights that really ran above the limit: who keeps it by leaving fluid
                        behind needs more and runs none
fluid_ratio_later       fluid foretold from the nights before a month over what came off in it, mean over the months
fluid_ratio_later_sd    its standard deviation over the months
fluid_months, fluid_patients
"""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from ground import own_servers
from tqdm import tqdm

LIKE_GAP = 0.5
"""Days by which a night's gap may differ from one of the schedule's and still be a night of the schedule."""
FEWEST = 5


def figures(at: datetime) -> dict[str, float]:
    """Of the patients in the database, whose treatments end at a moment."""
    from dosing.services.course.reading import course_at
    from dosing.services.planner.fluid_history import FluidCheck, fluid_held_against
    from sessions.models import Prescription

    ratios: list[float] = []
    checks: list[FluidCheck] = []
    for order in tqdm(Prescription.objects.in_force(at).select_related("patient"), desc="patients"):
        course = course_at(order.patient, at)
        ratio = _ratio(course, order)
        ratios += [] if ratio is None else [ratio]
        checks += fluid_held_against(course)
    return _of_ratios(ratios) | _of_checks(checks)


def _ratio(course: Any, order: Any) -> float | None:
    """The planner's fluid over what came off on nights after one of the schedule's gaps, of the same two months."""
    from dosing.services.planner.fluid_history import GAINS_COUNT_FOR, gains_of, nights_now
    from dosing.services.planner.fluid_of_schedule import fluid_of
    from dosing.services.planner.patterns import pattern_of

    pattern, minutes, weight = pattern_of(order.days_per_week, order.weekdays), order.minutes, order.target_weight_kg
    gaps = np.array(pattern.gaps()) - minutes / 1440
    told = (each for each in gains_of(course) if each.of.counted and each.of.start >= course.until - GAINS_COUNT_FOR)
    like = [each.of.fluid.taken_off for each in told if np.abs(gaps - each.gap_days).min() <= LIKE_GAP]
    taken = [litres for litres in like if litres is not None]
    if len(taken) < FEWEST:
        return None
    planned = fluid_of(
        pattern, minutes, nights_now(course, weight), weight_kg=weight, limit=order.uf_rate_limit_ml_kg_h
    )
    return float(planned.usual_l / np.mean(taken))


def _of_ratios(ratios: list[float]) -> dict[str, float]:
    ends = {"fluid_ratio_least": min(ratios), "fluid_ratio_most": max(ratios)}
    return {"fluid_ratio": float(np.mean(ratios)), **ends, "fluid_patients": len(ratios)}


def _of_checks(checks: list[Any]) -> dict[str, float]:
    foretold, came, nights = (np.array([getattr(c, name) for c in checks]) for name in ("foretold", "needed", "nights"))
    ran = np.array([np.nan if check.ran is None else check.ran for check in checks])
    later = np.array([check.foretold_l / check.taken_l for check in checks if check.taken_l])
    by_chance = np.random.default_rng(1).binomial(nights, foretold, (400, nights.size)) / nights
    return {
        "fluid_share_error": float(np.abs(foretold - came).mean()),
        "fluid_share_bias": float(np.average(foretold - came, weights=nights)),
        "fluid_share_chance": float(np.abs(foretold - by_chance).mean()),
        "fluid_share_run": float(np.nanmean(foretold - ran)),
        "fluid_ratio_later": float(later.mean()),
        "fluid_ratio_later_sd": float(later.std()),
        "fluid_months": len(checks),
    }


def measure(days: int) -> dict[str, float]:
    """On a demo of its own, made up here."""
    from django.utils import timezone

    from homedialysis.demo.lives import EVERYBODY
    from homedialysis.demo.seeding import plan_of, seed

    until = timezone.now() - timedelta(hours=1)
    plan = plan_of(seed=7, until=until, days=days, patients=len(EVERYBODY))
    seed(replace(plan, watched=False), lambda moments: tqdm(moments, desc="making up"))
    return figures(until)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--days", type=int, default=182)
    chosen = parser.parse_args()
    with own_servers():
        found = measure(chosen.days)
    print(json.dumps({name: round(value, 4) for name, value in found.items()}))


if __name__ == "__main__":
    main()
