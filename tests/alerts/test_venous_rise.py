"""A venous pressure that climbs over weeks is told from one that scatters, and only at comparable blood flow."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from sessions.models import Patient, VascularAccess
from tests.alerts.builders import DAY, alerts_of, evaluated, reading
from tests.factories import A_NIGHT, AccessFactory

pytestmark = pytest.mark.usefixtures("anas_prescription")


def nights(pressures: list[float], flows: list[float] | None = None, first: int = 0) -> list[dict[str, object]]:
    """One night every other day, with three readings at its pressure and flow."""
    made = []
    for index, pressure in enumerate(pressures, start=first):
        flow = flows[index] if flows else 300
        start = A_NIGHT + index * 2 * DAY
        read = [reading(start, minute, venous_mmhg=round(pressure), qb_ml_min=flow) for minute in (60, 120, 180)]
        made.append({"readings": read})
    return made


def scatter(seed: int, count: int) -> list[float]:
    """Noise of 9 mmHg, the scatter of home readings that the demo simulates too."""
    return list(np.random.default_rng(seed).normal(0, 9, count))


def test_a_climb_of_one_and_a_half_a_night_is_seen(ana: Patient) -> None:
    evaluated(ana, *nights([130 + 1.5 * index + noise for index, noise in enumerate(scatter(1, 28))]))
    (alert,) = alerts_of("venous_rise")
    assert alert.sentence.startswith("Venous pressure up ")
    assert " mmHg at 300 mL/min from 2 Mar to 25 Apr, over 28 comparable treatments." in alert.sentence
    assert len(alert.evidence) == 28
    assert alert.last_night == date(2026, 4, 25)


@pytest.mark.parametrize("seed", range(3))
def test_scatter_alone_is_not(ana: Patient, seed: int) -> None:
    evaluated(ana, *nights([150 + noise for noise in scatter(seed, 28)]))
    assert alerts_of("venous_rise") == []


def test_a_sure_but_small_climb_is_not(ana: Patient) -> None:
    evaluated(ana, *nights([130 + 0.6 * index for index in range(28)]))
    assert alerts_of("venous_rise") == []


def test_nine_nights_are_too_few(ana: Patient) -> None:
    evaluated(ana, *nights([130 + 4 * index for index in range(9)]))
    assert alerts_of("venous_rise") == []
    evaluated(ana, *nights([166], first=9), first=9)
    assert len(alerts_of("venous_rise")) == 1


def test_higher_flow_is_not_taken_for_a_climb(ana: Patient) -> None:
    """Pressure follows the flow; nights at another flow are set apart, and too few are left."""
    flows = [250.0] * 8 + [300.0] * 8
    evaluated(ana, *nights([110.0] * 8 + [150.0] * 8, flows))
    assert alerts_of("venous_rise") == []


def test_the_count_begins_again_with_a_new_access(ana: Patient) -> None:
    AccessFactory(patient=ana, created_on=date(2024, 6, 1), abandoned_on=A_NIGHT.date() + timedelta(days=17))
    AccessFactory(patient=ana, created_on=A_NIGHT.date() + timedelta(days=17))
    assert VascularAccess.objects.count() == 2
    evaluated(ana, *nights([110.0] * 9 + [150.0] * 9))
    assert alerts_of("venous_rise") == []


def test_nights_without_pressure_or_flow_are_passed_over(ana: Patient) -> None:
    made = nights([130 + 2 * index for index in range(20)])
    for index in (3, 7, 8):
        made[index] = {"readings": []}
    evaluated(ana, *made)
    (alert,) = alerts_of("venous_rise")
    assert len(alert.evidence) == 17


def test_it_says_so_when_the_climb_is_over(ana: Patient) -> None:
    evaluated(ana, *nights([130 + 3 * index for index in range(14)]))
    (alert,) = alerts_of("venous_rise")
    assert alert.cause_gone_at is None
    evaluated(ana, *nights([125.0] * 14, first=14), first=14)
    alert.refresh_from_db()
    assert alert.cause_gone_at is not None
    assert [step.kind for step in alert.steps.all()] == ["opened", "cause_gone"]
