"""Every screen of the bedside by a table: no accessibility fault in any light, for either hand; nothing too small."""

from __future__ import annotations

import re

import pytest

from sessions.models import AccessSite, Patient, TreatmentRecord
from sessions.pages.bedside import FOLDER
from tests.browser.conftest import BrowserPage
from tests.browser.every_screen import SCREENS, full, ready, show, sites
from tests.browser.judging import expect_accessible

__all__ = ["full", "sites"]

pytestmark = pytest.mark.django_db(transaction=True)

LOOKS = [(theme, hand) for theme in ("light", "dark", "night") for hand in ("right", "left")]
REGISTERED = re.compile(r"""register\(\s*["']([a-z]+)["']""")


def test_the_table_knows_every_screen() -> None:
    scripts = (path for path in (FOLDER / "js").rglob("*.js") if path.name != "router.js")
    found = {name for path in scripts for name in REGISTERED.findall(path.read_text(encoding="utf-8"))}
    assert found == SCREENS.keys()
    assert all(place.split("/")[0] == name for name, places in SCREENS.items() for place in places)


@pytest.mark.parametrize(("theme", "hand"), LOOKS)
def test_no_screen_has_a_fault(
    browser_page: BrowserPage, ana: Patient, sites: list[AccessSite], full: None, theme: str, hand: str
) -> None:
    phone = ready(browser_page, ana, sites, theme, hand)
    past = str(TreatmentRecord.objects.latest("started_at").pk)
    for place in (place for places in SCREENS.values() for place in places):
        show(phone, place, past)
        assert phone.page.locator("html").get_attribute("data-hand") == hand
        try:
            expect_accessible(phone.page, colours_alone=theme != "light")
        except AssertionError as fault:
            raise AssertionError(f"{place}: {fault}") from fault
        assert (place, phone.too_small(), phone.overflows()) == (place, [], 0)
