"""The demo's simulator: the same twice, and true to what is published."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from scipy.integrate import solve_ivp

from alerts.models import Alert
from homedialysis.demo import body, circuit, diary, laboratory
from homedialysis.demo.cast import Member
from homedialysis.demo.lives import EVERYBODY
from homedialysis.demo.seeding import NotNow, SeedingPlan, plan_of, seed
from sessions.models import AccessSite, BloodResult, TreatmentRecord

UNTIL = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
WINDOW = diary.Window(UNTIL, 120)


def nights_of(member: Member, seed: int = 1) -> list[body.TrueTreatment]:
    rng = np.random.default_rng(seed)
    given, begun = diary.orders(member, WINDOW), diary.starts(member, WINDOW, rng)
    return body.live(member, window=WINDOW, starts=begun, orders=given, rng=rng)


def member(name: str) -> Member:
    return next(each for each in EVERYBODY if each.name == name)


def made_up(plan: SeedingPlan) -> dict[str, list[Any]]:
    """All that a demo holds but ids that the database counts; taken back afterwards."""
    with transaction.atomic():
        seed(plan)
        names = dict(AccessSite.objects.values_list("pk", "name"))
        documents = []
        for record in TreatmentRecord.objects.order_by("pk"):
            sites = [row | {"site": names[row["site"]]} for row in record.document["sites"]]
            documents.append((record.pk, record.received_at, record.document | {"sites": sites}))
        order = ("patient__name", "opened_at", "rule", "cause")
        found = {
            "documents": documents,
            "bloods": list(
                BloodResult.objects.order_by("drawn_at", "analyte").values_list("drawn_at", "analyte", "value")
            ),
            "alerts": list(Alert.objects.order_by(*order).values_list(*order, "closed_at", "outcome", "parts")),
        }
        transaction.set_rollback(True)
    return found


@pytest.mark.django_db
def test_the_same_seed_makes_up_the_same() -> None:
    plan = plan_of(seed=3, until=UNTIL, days=21, patients=3)
    first = made_up(plan)
    assert first == made_up(plan)
    assert all(first.values()), "there is something of each to compare"


@pytest.mark.django_db
def test_another_seed_makes_up_something_else() -> None:
    one, other = (made_up(plan_of(seed=seed, until=UNTIL, days=10, patients=1)) for seed in (3, 4))
    assert len(one["documents"]) == len(other["documents"])
    assert one["documents"] != other["documents"]


@pytest.mark.django_db
def test_a_climbing_venous_pressure_opens_its_alert() -> None:
    """Nobody else's does, and a nurse who settled it once is told again when the step comes."""
    made = made_up(plan_of(seed=7, until=UNTIL, days=100, patients=2))["alerts"]
    rises = [alert for alert in made if alert[2] in ("venous_rise", "access_story")]
    assert {alert[0] for alert in rises} == {"Ravi Thistlewood"}
    assert rises[-1][4] is None, "the last one is open still"


@pytest.mark.django_db
def test_who_is_connected_at_the_end_has_an_open_record() -> None:
    """A Tuesday morning at a quarter to eleven: of the first four only one is treated then, from half past nine on."""
    until = datetime(2026, 11, 24, 10, 45, tzinfo=UTC)
    made = made_up(plan_of(seed=7, until=until, days=7, patients=4))["documents"]
    (running,) = [document for _, _, document in made if document["status"] == "open"]
    assert running["ended_at"] is None
    assert running["post_weight_kg"] is None
    assert len(running["readings"]) >= 2
    assert all(datetime.fromisoformat(reading["at"]) <= until for reading in running["readings"])
    assert any(document["status"] == "finished" for _, _, document in made)


@pytest.mark.parametrize(
    ("asked", "name"),
    [
        ({"days": 3}, "--days must be between 7 and 730; 3"),
        ({"patients": 99}, "--patients must be between 1 and 44; 99"),
        ({"until": UNTIL.replace(tzinfo=None)}, "--until"),
    ],
)
def test_an_impossible_plan_says_what_is_wrong(asked: dict[str, Any], name: str) -> None:
    possible: dict[str, Any] = {"seed": 1, "until": UNTIL, "days": 30, "patients": 3}
    with pytest.raises(NotNow, match=name):
        plan_of(**(possible | asked))


@pytest.mark.django_db
@pytest.mark.parametrize("text", ["yesterday", "2026-03-01T09:00:00"])
def test_until_needs_a_time_with_a_zone(text: str) -> None:
    with pytest.raises(CommandError, match=f"--until: {text}: no ISO time with a zone"):
        call_command("seed_demo", "--until", text)


@pytest.mark.parametrize("who", EVERYBODY, ids=lambda who: who.name)
def test_fluid_adds_up(who: Member) -> None:
    """Mass balance: before - UF + given back + drunk - sweated is after; the next begins with what was gained."""
    nights = nights_of(who)
    for night in nights:
        sweat = 0.02 * night.hours
        balance = night.weight_before - night.uf_l + body.RINSE_BACK_L + night.intake_l - sweat
        assert night.weight_after == pytest.approx(balance)
    gains = [later.weight_before - night.weight_after for night, later in pairwise(nights)]
    assert min(gains) > 0


@pytest.mark.parametrize(
    ("gauge", "qb", "arterial", "venous"), [(15, 200, -46, 60.6), (15, 400, -157, 149.2), (14, 400, -108, 108.8)]
)
def test_pressures_follow_flow_and_needle(gauge: int, qb: float, arterial: float, venous: float) -> None:
    """Means over many readings against Gallego et al., Nefrología 1997;17:322 (regression lines in the abstract)."""
    rng = np.random.default_rng(5)
    calm = circuit.Circuit(venous=0, arterial=0, climb=0)
    needles = Member(**{field: getattr(EVERYBODY[0], field) for field in EVERYBODY[0].__slots__} | {"gauge": gauge})  # type: ignore[arg-type]
    read = np.array([circuit.pressures(needles, calm, qb, 0.5, rng) for _ in range(4000)])
    assert read.mean(axis=0) == pytest.approx([arterial, venous], abs=0.5)


@pytest.mark.parametrize(("set_to", "delivered"), [(200, 200), (300, 285), (400, 360)])
def test_the_pump_falls_short_at_high_flow(set_to: float, delivered: float) -> None:
    """0, 5 and 10 % at 200, 300 and 400 mL/min: transit-time measurements (Depner)."""
    assert circuit.delivered_flow(set_to) == pytest.approx(delivered)


@pytest.mark.parametrize("name", ["Kwame Ashgrove", "Ingrid Solquist", "Bartholomew Nkemelu"])
def test_urea_is_what_a_general_solver_finds(name: str) -> None:
    """The two-pool equations (Vartia, doctoral thesis, 4.2.1), treatment by treatment, by scipy's LSODA."""
    who = member(name)
    nights = nights_of(who)[-25:]
    ours = laboratory.urea_through(who, nights, WINDOW)
    start = ours[0].after
    theirs = _solved(who, nights, start)
    found = [value for urea in ours[1:] for value in (urea.before, urea.after)]
    assert found[20:] == pytest.approx(theirs[20:], rel=2e-3), "after ten treatments the unknown start is forgotten"


def _solved(who: Member, nights: list[body.TrueTreatment], start: float) -> list[float]:
    """Plasma urea before and after each treatment but the first, both pools at `start` [mmol/L] after that."""
    volume, kd = laboratory.urea_volume(who), laboratory.clearances(who, nights)
    made, exchange, inner = laboratory.generation(who, volume), 0.016 * volume, volume * 2 / 3
    state, found = np.array([start / 0.93, start / 0.93]), []
    for index, night in enumerate(nights[1:], start=1):
        since = nights[index - 1].weight_after
        stretches = ((night.gap_days * 1440, since, night.weight_before, 0.0),
                     (night.minutes, night.weight_before, night.weight_after, kd[index]))  # fmt: skip
        for minutes, begin, end, cleared in stretches:
            slope, first = (end - begin) / minutes, volume / 3 + begin - who.target_kg
            loss = (who.kidney + cleared) / 1000

            def change(t: float, y: Any, slope: float = slope, first: float = first, loss: float = loss) -> list[float]:
                outer = first + slope * t
                flow = exchange * (y[1] - y[0])
                return [(made - (loss + slope) * y[0] + flow) / outer, -flow / inner]

            state = solve_ivp(change, (0, minutes), state, method="LSODA", rtol=1e-9, atol=1e-9).y[:, -1]
            found.append(0.93 * state[0])
    return found
