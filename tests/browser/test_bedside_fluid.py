"""The fluid plan on the phone is the one worked out beside it, to the last digit shown, over a thousand evenings."""

from __future__ import annotations

import random
from collections import Counter
from typing import Any

import pytest
from django.template.defaultfilters import floatformat

from dosing.science.fluid import expected_post_weight, interdialytic_gain_kg, interdialytic_gain_percent
from tests.browser.conftest import BrowserPage, Watched
from tests.tonights_fluid import FluidPlan, plan_fluid

pytestmark = pytest.mark.django_db(transaction=True)
CASES = 1000

Evening = dict[str, float]


@pytest.fixture
def page(browser_page: BrowserPage, unit: Any) -> Watched:
    watched = browser_page(worker=False)
    watched.open("/accounts/login/")
    return watched


def run(watched: Watched, body: str, given: Any) -> Any:
    """Run a function body with the phone's fluid as `m`, its rounding as `shown` and the given value as `given`."""
    script = f"""async (given) => {{
      const m = await import('/static/bedside/js/fluid.js');
      const {{ shown }} = await import('/static/bedside/js/numbers.js');
      {body} }}"""
    return watched.page.evaluate(script, given)


def evenings() -> list[Evening]:
    """Made-up evenings; a quarter each: plain, on rounding halves, exactly on the limit, at the edges of a range."""
    chance = random.Random(20261125)
    makers = (_plain, _on_a_half, _on_the_limit, _at_an_edge)
    return [makers[index % 4](chance) for index in range(CASES)]


def _plain(chance: random.Random) -> Evening:
    target = round(chance.uniform(35, 140), chance.choice((0, 1, 2)))
    minutes = float(chance.randrange(90, 600, 5))
    return {
        "pre": round(target + chance.uniform(-1, 7), 1),
        "last": round(target + chance.uniform(-1, 1.5), 1),
        "target": target,
        "rinse": round(chance.uniform(0, 0.6), 2),
        "drinks": round(chance.uniform(0, 1.5), 2),
        "minutes": minutes,
        "longest": minutes + chance.choice((0, 15, 30, 60, 120)),
        "limit": chance.choice((7.5, 8, 10, 12, 13)),
    }


def _on_a_half(chance: random.Random) -> Evening:
    """Volumes that end in 5 in the third decimal, which binary numbers hold a little above or below."""
    evening = _plain(chance)
    return evening | {"rinse": chance.randrange(1, 400) / 1000 + 0.005, "drinks": chance.choice((0.125, 0.135, 0.505))}


def _on_the_limit(chance: random.Random) -> Evening:
    """Rates that are the limit itself, and lengths that need it to the minute."""
    evening = _plain(chance)
    minutes = chance.choice((evening["minutes"], evening["longest"]))
    litres = evening["limit"] * evening["target"] * minutes / 60000
    return evening | {"pre": evening["target"] + litres, "rinse": 0.0, "drinks": 0.0}


def _at_an_edge(chance: random.Random) -> Evening:
    evening = _plain(chance)
    target = chance.choice((20.0, 50.0, 100.0, 300.0, evening["target"]))
    pre = chance.choice((target, target * 1.2, target * 0.8, target + 10, target - 0.1, 20.0, 300.0))
    minutes = chance.choice((30.0, 900.0, 240.0))
    return evening | {"target": target, "pre": pre, "minutes": minutes, "longest": chance.choice((minutes, 900.0))}


def test_the_plan_and_its_choices_are_the_servers_to_the_last_digit_shown(page: Watched) -> None:
    given = evenings()
    body = """
      return given.map((evening) => {
        const plan = m.plan(evening);
        if (plan.why) return null;
        const choices = plan.choices.map(({ kind, minutes, litres, left, rate }) =>
          [kind, minutes, shown(litres, 2), shown(left, 2), shown(rate, 1)]);
        return [shown(plan.litres, 2), shown(plan.rate, 1), plan.over, plan.atMostOver, choices];
      });"""
    at_the_unit = [_shown(_planned(evening)) for evening in given]
    assert run(page, body, given) == at_the_unit
    kinds = Counter(tuple(kind for kind, *_ in plan[4]) if plan else "none" for plan in at_the_unit)
    assert set(kinds) == {
        "none",
        ("as_prescribed",),
        ("longer", "leave_some"),
        ("longer_and_leave", "leave_some"),
        ("leave_some",),
    }
    assert min(kinds.values()) >= 20, kinds  # every way is walked


def _planned(evening: Evening) -> FluidPlan | None:
    names = ("pre", "target", "rinse", "drinks", "minutes", "longest", "limit")
    return plan_fluid(**{name: evening[name] for name in names})


def _shown(plan: FluidPlan | None) -> list[Any] | None:
    if plan is None:
        return None
    choices = [
        [each.kind, each.minutes, floatformat(each.uf_l, 2), floatformat(each.left_kg, 2), floatformat(each.rate, 1)]
        for each in plan.choices
    ]
    return [floatformat(plan.uf_l, 2), floatformat(plan.rate, 1), plan.over, plan.at_most_over, choices]


def test_every_choice_keeps_inside_the_prescription() -> None:
    """Whatever is offered under the limit is under it, no longer than allowed, and takes off no more than planned."""
    offered = [(evening, plan) for evening in evenings() if (plan := _planned(evening))]
    for evening, plan in offered:
        for choice in plan.choices:
            assert choice.rate <= evening["limit"] + 1e-6
            assert evening["minutes"] <= choice.minutes <= evening["longest"]
            assert 0 <= choice.uf_l <= plan.uf_l
            assert choice.uf_l + choice.left_kg == pytest.approx(plan.uf_l)


def test_gain_and_the_weight_to_expect_are_the_servers(page: Watched) -> None:
    given = [evening for evening in evenings() if 20 <= evening["pre"] <= 300]
    body = """
      return given.map((evening) => {
        const gained = m.gain(evening);
        const after = m.expectedAfter({ ...evening, litres: 2.35 });
        return [gained && shown(gained.kg, 1), gained && shown(gained.percent, 1), shown(after, 1)];
      });"""
    assert run(page, body, given) == [_gained(evening) for evening in given]


def _gained(evening: Evening) -> list[str | None]:
    weights = {"pre_weight_kg": evening["pre"], "last_post_weight_kg": evening["last"]}
    percent = interdialytic_gain_percent(**weights, target_weight_kg=evening["target"]).number
    kilograms = interdialytic_gain_kg(**weights).number
    known = percent is not None and kilograms is not None
    after = expected_post_weight(
        pre_weight_kg=evening["pre"], uf_l=2.35, rinse_back_l=evening["rinse"], intake_l=evening["drinks"]
    ).number
    return [
        floatformat(kilograms, 1) if known else None,
        floatformat(percent, 1) if known else None,
        floatformat(after, 1),
    ]
