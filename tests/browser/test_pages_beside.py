"""Pages of the unit's server that a patient opens from the bedside: they keep the light that was chosen there."""

from __future__ import annotations

import pytest

from sessions.models import Patient, Prescription
from tests.browser.conftest import BrowserPage
from tests.browser.judging import expect_accessible, expect_no_sideways_scroll
from tests.factories import A_NIGHT, record_night

pytestmark = pytest.mark.django_db(transaction=True)

BRIGHTNESS = """() => {
  const [red, green, blue] = getComputedStyle(document.documentElement).backgroundColor.match(/\\d+/g).map(Number);
  return (0.2126 * red + 0.7152 * green + 0.0722 * blue) / 255;
}"""


@pytest.mark.parametrize(("theme", "most"), [("night", 0.05), ("dark", 0.1)])
def test_no_page_is_bright_on_a_phone_that_was_set_to_night(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription, theme: str, most: float
) -> None:
    night = record_night(ana, A_NIGHT)
    watched = browser_page(ana.account, colour="light")
    page = watched.open("/devices/")
    assert page.evaluate(BRIGHTNESS) > 0.8, "without a choice it is as the phone is"
    page.evaluate("(theme) => localStorage.setItem('bedside.look', JSON.stringify({theme}))", theme)
    for path in ("/devices/", f"/nights/{night.pk}/", f"/letters/{ana.pk}/"):
        watched.open(path)
        assert page.evaluate(BRIGHTNESS) < most, path
        expect_no_sideways_scroll(page)
        expect_accessible(page)
