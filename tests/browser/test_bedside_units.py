"""The scripts' own arithmetic, clock, words and document, inside the browser that runs them, against the server's."""

from __future__ import annotations

import random
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.template.defaultfilters import floatformat

from sessions.facts import plausible
from sessions.facts.ranges import Range
from sessions.pages.bedside import FOLDER
from tests.browser.conftest import BrowserPage, Watched

pytestmark = pytest.mark.django_db(transaction=True)
HELD = {"label", "unit", "hard", "usual", "step"}
"""What of a declared limit a range is made of."""
KIT = {
    "patient": {"id": "11111111-1111-4111-8111-111111111111"},
    "account": {"id": 1},
    "numbers": ["pre_weight_kg", "post_weight_kg"],
    "prescription": {"version": 3},
    "limits": plausible.for_scripts(),
}


@pytest.fixture
def page(browser_page: BrowserPage, unit: Any) -> Watched:
    watched = browser_page(worker=False)
    watched.open("/accounts/login/")
    return watched


def run(watched: Watched, module: str, body: str, given: Any = None) -> Any:
    """Run a function body with a module of the bedside as `m` and the given value as `given`."""
    script = f"async (given) => {{ const m = await import('/static/bedside/js/{module}.js'); {body} }}"
    return watched.page.evaluate(script, given)


def test_numbers_are_rounded_as_on_the_servers_pages(page: Watched) -> None:
    chance = random.Random(7)
    numbers = [1.005, 8.25, 0.05, 0.125, -0.04, -2.675, 0.0, 99.995, 1e-7, 12.0]
    numbers += [chance.uniform(-300, 300) for _ in range(500)]
    for digits in (0, 1, 2, 3):
        on_the_phone = run(page, "numbers", f"return given.map((each) => m.shown(each, {digits}));", numbers)
        assert on_the_phone == [floatformat(each, digits) for each in numbers]


def test_limits_are_told_in_the_servers_words(page: Watched) -> None:
    """But for the minus sign, which the phone writes as one, and a million, which the server writes as 1e+06."""
    cases = [
        {"name": name, "limits": limits, "number": given}
        for name, limits in plausible.for_scripts().items()
        for given in (limits["hard"][0] - 1, limits["hard"][1] + 1, sum(limits["hard"]) / 2)
        if limits["hard"][1] < 1_000_000
    ]
    said = run(page, "numbers", "return given.map((each) => m.refusal(each.limits, each.number));", cases)
    for case, words in zip(cases, said, strict=True):
        limits = Range(**{name: value for name, value in case["limits"].items() if name in HELD})
        assert words.replace("−", "-") == limits.refusal(case["number"]), case["name"]


def test_steps_stay_on_their_grid(page: Watched) -> None:
    walked = run(page, "numbers", "return given.map(([n, step, count]) => m.stepped(n, step, count));", [
        [72.4, 0.1, 1], [0.3, 0.1, -1], [2.675, 0.05, 1], [-140, 5, -1], [142, 5, 1], [13.9, 0.1, 1],
    ])  # fmt: skip
    assert walked == [72.5, 0.2, 2.75, -145, 145, 14.0]


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


def test_confirmed_values_follow_their_rows(page: Watched) -> None:
    """A reading that comes late goes in by its time, a row that is taken out takes its confirmation along."""
    body = """const night = m.newNight(given.kit);
      const [nine, ten, eight] = ["21:00", "22:00", "20:00"].map((time) => `2026-03-01T${time}:00.000Z`);
      m.addReading(night, { at: nine, venous_mmhg: 140 });
      const late = m.addReading(night, { at: ten });
      m.takeNumber(night, `readings[${late}].venous_mmhg`, 282, given.kit.limits["readings.venous_mmhg"]);
      m.addReading(night, { at: eight, venous_mmhg: 130 });
      const first = [night.doc.confirmed, night.doc.readings.map((row) => row.venous_mmhg)];
      m.removeRow(night, "readings", 0);
      const second = [...night.doc.confirmed];
      m.takeNumber(night, "readings[1].venous_mmhg", 150, given.kit.limits["readings.venous_mmhg"]);
      return [first, second, night.doc.confirmed];"""
    first, second, third = run(page, "draft", body, {"kit": KIT})
    assert first == [["readings[2].venous_mmhg"], [130, 140, 282]]
    assert second == ["readings[1].venous_mmhg"]
    assert third == [], "a usual number needs no confirmation"


def test_half_answered_rows_stay_on_the_phone_and_paths_fit_what_is_sent(page: Watched) -> None:
    body = """const night = m.newNight(given.kit);
      night.doc.sites = [{ site: null, use: "arterial" }, { site: 7, use: "venous", bleeding_minutes: 90 }];
      night.doc.checks = [{ name: "Hands", passed: null }, { name: "Chlorine", passed: true }];
      night.doc.confirmed = ["sites[1].bleeding_minutes", "sites[0].attempts", "pre_weight_kg"];
      const sent = m.documentOf(night, "open");
      const path = m.pathInNight(night, "sites[0].bleeding_minutes");
      return [sent.sites.length, sent.checks.map((row) => row.name), sent.confirmed, path];"""
    sites, checks, confirmed, path = run(page, "draft", body, {"kit": KIT})
    assert (sites, checks) == (1, ["Chlorine"])
    assert set(confirmed) == {"sites[0].bleeding_minutes", "pre_weight_kg"}
    assert path == "sites[1].bleeding_minutes"


def test_two_readings_of_one_minute_get_times_of_their_own(page: Watched) -> None:
    body = """const night = m.newNight(given.kit);
      for (let count = 0; count < 3; count += 1) m.addReading(night, { at: "2026-03-01T21:00:00.000Z" });
      return new Set(night.doc.readings.map((row) => row.at)).size;"""
    assert run(page, "draft", body, {"kit": KIT}) == 3


def test_a_step_back_restores_only_what_the_step_changed(page: Watched) -> None:
    body = """const night = m.newNight(given.kit);
      const step = (label, act) => {
        const before = m.snapshot(night);
        act();
        return m.noteStep(night, before, label);
      };
      const noted = [
        step("weight", () => m.setPath(night, "pre_weight_kg", 72.5)),
        step("nothing", () => {}),
        step("stage", () => { night.stage = "running"; night.plan.choice = "longer"; }),
      ];
      night.revision = 4;
      const first = [m.undoStep(night), night.stage, night.plan];
      const back = [...first, m.undoStep(night), night.doc.pre_weight_kg, m.undoStep(night)];
      const forward = [m.redoStep(night), night.doc.pre_weight_kg, m.redoStep(night), night.stage, night.plan];
      return [noted, back, forward, night.revision];"""
    noted, back, forward, revision = run(page, "draft", body, {"kit": KIT})
    assert noted == [True, False, True]
    assert back == ["stage", "before", {}, "weight", None, ""]
    assert forward == ["weight", 72.5, "stage", "running", {"choice": "longer"}]
    assert revision == 4, "what the unit said is no step of the person's"


def test_what_each_side_leaves_out_is_no_difference(page: Watched) -> None:
    body = """return [m.sameRecord(...given.same), m.sameRecord(...given.other)];"""
    mine = {"status": "open", "started_at": "2026-03-01T21:00:00Z", "pre_weight_kg": 72.5, "notes": "", "checks": []}
    theirs = {
        "id": "x",
        "revision": 3,
        "status": "open",
        "started_at": "2026-03-01T21:00:00+00:00",
        "pre_weight_kg": 72.5,
    }
    given = {"same": [mine, theirs], "other": [mine, theirs | {"pre_weight_kg": 71.9, "ended_at": None}]}
    assert run(page, "draft", body, given) == [True, False]


def test_words_take_their_numbers_and_forms(page: Watched) -> None:
    body = """return [m.t("Last: {value}", { value: 3 }),
      m.tn("{n} entry", "{n} entries", 1), m.tn("{n} entry", "{n} entries", 2),
      m.fmt(-1.5), m.fmt(2.675, 2), m.fmt(null), m.hours(245)];"""
    assert run(page, "words", body) == ["Last: 3", "1 entry", "2 entries", "−1.5", "2.68", "–", "4:05"]


def test_no_two_scripts_need_each_other_in_a_ring() -> None:
    """The names of static files carry a hash of the content, which a ring would never let settle."""
    needs = {path: _needs(path) for path in FOLDER.rglob("*.js")}
    while leaves := [path for path, wanted in needs.items() if not wanted & set(needs)]:
        for path in leaves:
            del needs[path]
    assert {path.name for path in needs} == set()


def _needs(path: Path) -> set[Path]:
    found = re.findall(r"""(?:from|import)\s*["'](\.[^"']+)["']""", path.read_text(encoding="utf-8"))
    return {(path.parent / each).resolve() for each in found}
