"""A phone with a night on it, for the tests of access, needles, the running treatment and emergencies."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from sessions.models import AccessSite, Patient, Prescription, VascularAccess
from tests.browser.conftest import BrowserPage, Watched
from tests.browser.shell import go_to
from tests.factories import AccessFactory, PrescriptionFactory, SiteFactory, record_night

MODULES = "/static/bedside/js"
SMALLEST_PX = 56


def now_minute() -> datetime:
    return datetime.now(UTC).replace(second=0, microsecond=0)


def evening_before(days: int) -> datetime:
    """20:00 so many days ago: a night, at whatever hour of the day the tests run."""
    return now_minute().replace(hour=20, minute=0) - timedelta(days=days)


def rope_ladder(patient: Patient, side: str = "left") -> list[AccessSite]:
    """Six sites of a rope ladder: three for each use, one of them resting, used on different nights."""
    access: VascularAccess = AccessFactory(patient=patient, side=side, flow="up")
    places = [
        ("A low", "arterial", 0.46, 0.72, False),
        ("A mid", "arterial", 0.44, 0.62, False),
        ("A high", "arterial", 0.43, 0.52, True),
        ("V low", "venous", 0.44, 0.36, False),
        ("V mid", "venous", 0.42, 0.27, False),
        ("V high", "venous", 0.42, 0.18, False),
    ]
    sites = [
        SiteFactory(access=access, name=name, use=use, x=x, y=y, resting=resting, technique="rope_ladder")
        for name, use, x, y, resting in places
    ]
    for days, used in ((2, (0, 3)), (4, (1, 4)), (7, (0, 5))):
        rows = [{"site": sites[index].pk, "use": sites[index].use, "attempts": 1} for index in used]
        record_night(patient, evening_before(days), sites=rows)
    return sites


def prescribed(patient: Patient, **changes: Any) -> Prescription:
    values = {"version": 1, "rate_units_h": 500, "stop_minutes_before_end": 30, "reading_interval_minutes": 60}
    return PrescriptionFactory(patient=patient, **(values | changes))


class Phone:
    """The bedside in the hands of somebody: opens it, begins a night, looks at what is kept."""

    def __init__(self, watched: Watched) -> None:
        self.watched = watched
        self.page: Page = watched.page
        self.now = now_minute()

    def ready(self, **document: Any) -> None:
        """Open the bedside with its kit, begin a night and write some values straight into its document."""
        self.watched.open("/tonight/")
        expect(self.page.locator("#screen h1[tabindex]")).to_be_visible()
        script = """async ([modules, values]) => {
          const { ctx } = await import(`${modules}/app.js`);
          const moment = () => new Promise((go) => setTimeout(go, 100));
          for (let tries = 0; !ctx.kit?.patient && tries < 100; tries += 1) await moment();
          ctx.begin();
          Object.assign(ctx.night.doc, values);
          if (values.started_at) ctx.night.stage = "running";
          await ctx.save();
        }"""
        self.page.evaluate(script, [MODULES, document])

    def running(self, minutes: int = 70, **document: Any) -> None:
        """A night that was started some minutes before `now`, where the phone's clock stands still."""
        self.ready(started_at=(self.now - timedelta(minutes=minutes)).isoformat(), **document)
        stand = f"async (iso) => {{ (await import('{MODULES}/app.js')).ctx.now = () => new Date(iso); }}"
        self.page.evaluate(stand, (self.now + timedelta(seconds=20)).isoformat())
        self.go("running")

    def go(self, *place: str) -> None:
        go_to(self.page, "/".join(place))

    def night(self) -> Any:
        script = f"async () => JSON.parse(JSON.stringify((await import('{MODULES}/app.js')).ctx.night))"
        return self.page.evaluate(script)

    def doc(self) -> Any:
        return self.night()["doc"]

    def tap(self, name: str, *, exact: bool = True) -> None:
        self.page.get_by_role("button", name=name, exact=exact).first.click()

    def run(self, module: str, body: str, given: Any = None) -> Any:
        """A function body with a module of the bedside as `m` and a value as `given`."""
        script = f"async (given) => {{ const m = await import('{MODULES}/{module}.js'); {body} }}"
        return self.page.evaluate(script, given)

    def kill(self) -> None:
        """The page dies and is opened again by its plain address."""
        self.page.goto("about:blank")
        self.watched.open("/tonight/")
        expect(self.page.locator("#screen h1[tabindex]")).to_be_visible()

    def too_small(self) -> list[str]:
        """What can be touched and is smaller than 56 px either way, with its size."""
        script = """(least) => [...document.querySelectorAll("button, a[href], summary, input, textarea, select")]
          .filter((each) => each.checkVisibility())
          .map((each) => [each, each.getBoundingClientRect()])
          .filter(([, box]) => box.height < least - 0.5 || box.width < least - 0.5)
          .map(([each, box]) => `${each.textContent || each.id}: ${box.width} x ${box.height}`)"""
        found: list[str] = self.page.evaluate(script, SMALLEST_PX)
        return found

    def overflows(self) -> int:
        """By how many pixels the page is wider than the screen."""
        wide: int = self.page.evaluate("() => document.documentElement.scrollWidth - window.innerWidth")
        return wide


MakePhone = Callable[..., Phone]


@pytest.fixture
def at_bedside(browser_page: BrowserPage, unit: object) -> MakePhone:
    """Make phones: `at_bedside(user, **options of browser_page)`, without the worker unless it is asked for."""
    return lambda user, **options: Phone(browser_page(user, **({"worker": False} | options)))
