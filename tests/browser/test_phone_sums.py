"""What the phone works out by itself agrees with the server, to the last digit shown, and with the wall clock."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.template.defaultfilters import floatformat

from dosing.science.fluid import uf_rate, uf_volume_plan
from sessions import plausible
from tests.browser.conftest import BrowserPage, Watched

pytestmark = pytest.mark.django_db(transaction=True)
CASES = 1000


@pytest.fixture
def page(browser_page: BrowserPage, unit: Any) -> Watched:
    watched = browser_page()
    watched.open("/accounts/login/")
    return watched


def run(watched: Watched, module: str, body: str, given: Any) -> Any:
    """Run a function body with a module of the phone as `m` and the given value as `given`."""
    script = f"async (given) => {{ const m = await import('/static/sessions/js/{module}.js'); {body} }}"
    return watched.page.evaluate(script, given)


def made_up_nights() -> list[dict[str, float]]:
    chance = random.Random(20260301)
    nights = []
    for _ in range(CASES):
        target = round(chance.uniform(35, 140), chance.choice((0, 1, 2)))
        nights.append(
            {
                "pre": round(target + chance.uniform(-1, 6), 1),
                "target": target,
                "rinseBack": round(chance.uniform(0, 0.6), 2),
                "drinks": round(chance.uniform(0, 1.5), 2),
                "minutes": float(chance.randrange(90, 600, 5)),
            }
        )
    return nights


def test_the_plan_for_the_fluid_is_the_servers_to_the_last_digit_shown(page: Watched) -> None:
    nights = made_up_nights()
    body = """
      const { shown } = await import('/static/sessions/js/numbers.js');
      return given.map(({ pre, target, rinseBack, drinks, minutes }) => {
        const prescription = { target_weight_kg: target, minutes, uf_rate_limit_ml_kg_h: 10 };
        const plan = m.fluidPlan({ pre, rinseBack, drinks, prescription });
        return plan.why ? null : [shown(plan.litres, 2), shown(plan.rate, 1), plan.over];
      });"""
    on_the_phone = run(page, "plan", body, nights)
    at_the_unit = [_planned(night) for night in nights]
    assert on_the_phone == at_the_unit
    assert 0 < sum(plan is None for plan in at_the_unit) < CASES / 2  # both ways are walked


def _planned(night: dict[str, float]) -> list[Any] | None:
    litres = uf_volume_plan(
        pre_weight_kg=night["pre"],
        target_weight_kg=night["target"],
        rinse_back_l=night["rinseBack"],
        intake_l=night["drinks"],
    ).number
    if litres is None:
        return None
    rate = uf_rate(uf_l=litres, minutes=night["minutes"], post_weight_kg=night["target"]).number
    assert rate is not None
    return [floatformat(litres, 2), floatformat(rate, 1), rate > 10]


def test_numbers_are_rounded_as_on_the_servers_pages(page: Watched) -> None:
    chance = random.Random(7)
    numbers = [1.005, 8.25, 0.05, 0.125, -0.04, -2.675, 0.0, 99.995, 1e-7, 12.0]
    numbers += [chance.uniform(-300, 300) for _ in range(500)]
    for digits in (0, 1, 2, 3):
        on_the_phone = run(page, "numbers", f"return given.map((each) => m.shown(each, {digits}));", numbers)
        assert on_the_phone == [floatformat(each, digits) for each in numbers]


def test_limits_are_told_in_the_servers_words(page: Watched) -> None:
    for name, limits in plausible.for_scripts().items():
        for given in (limits["hard"][0] - 1, limits["hard"][1] + 1, sum(limits["hard"]) / 2):
            said = run(
                page, "numbers", "return m.refusal(given.limits, given.number);", {"limits": limits, "number": given}
            )
            assert said == _limits(name).refusal(given), name


def _limits(path: str) -> plausible.Range:
    listed, _, name = path.rpartition(".")
    return (plausible.LISTS[listed] if listed else plausible.TREATMENT)[name]


@pytest.mark.parametrize("zone", ["Europe/Lisbon", "America/St_Johns", "Australia/Lord_Howe", "Asia/Tokyo"])
def test_the_phone_reads_the_patients_wall_clock_on_every_day_of_the_year(page: Watched, zone: str) -> None:
    """Against the zone data of Python: every 3 hours and 10 minutes of a year, both clock changes included."""
    start = datetime(2026, 1, 1, tzinfo=UTC)
    moments = [start + timedelta(minutes=190 * step) for step in range(2800)]
    walls = [moment.astimezone(ZoneInfo(zone)) for moment in moments]
    given = {"zone": zone, "isos": [moment.isoformat() for moment in moments]}
    shown = run(page, "clock", "return given.isos.map((iso) => m.toWall(iso, given.zone));", given)
    assert shown == [wall.strftime("%Y-%m-%dT%H:%M") for wall in walls]
    back = run(
        page, "clock", "return given.texts.map((text) => m.fromWall(text, given.zone));", {"zone": zone, "texts": shown}
    )
    first_of_two = [wall.replace(tzinfo=ZoneInfo(zone), fold=0).astimezone(UTC) for wall in walls]
    assert [datetime.fromisoformat(iso) for iso in back] == first_of_two
