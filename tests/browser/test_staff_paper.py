"""A sheet that a patient sent by post, typed in by a nurse: the bedside's own screens on a page of the unit."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Page, expect

from alerts.models import Alert
from alerts.services.evaluation import evaluate_pending
from homedialysis.accounts.models import User
from sessions.models import Patient, TreatmentRecord
from tests.browser.conftest import DESKTOP, BrowserPage
from tests.browser.running_phone import prescribed, rope_ladder
from tests.browser.test_bedside_paper import READINGS, WHOLE

pytestmark = pytest.mark.django_db(transaction=True)


def fill(page: Page, cells: dict[str, str]) -> None:
    for path, text in cells.items():
        page.locator(f"[data-path='{path}']").fill(text)


@pytest.mark.usefixtures("unit")
def test_a_nurse_types_a_sheet_and_it_counts_as_any_other(browser_page: BrowserPage, ana: Patient, nurse: User) -> None:
    prescribed(ana)
    rope_ladder(ana)
    TreatmentRecord.objects.all().delete()
    Patient.objects.filter(pk=ana.pk).update(time_zone="America/Halifax")
    watched = browser_page(nurse, size=DESKTOP, bypass_csp=False)
    page = watched.open(f"/patients/{ana.pk}/?days=30")
    page.get_by_role("link", name="Type a treatment from paper").click()
    expect(page.locator(".for-patient")).to_contain_text("Typed by Nurse Kim from paper")
    expect(page.locator(".for-patient")).to_contain_text("America/Halifax")
    fill(page, WHOLE | {"pre_systolic": "240"} | {f"readings[0].{name}": text for name, text in READINGS[0].items()})
    page.get_by_role("button", name="A day earlier").click()
    page.get_by_role("button", name="Yes, it is right").click()
    page.get_by_role("button", name="Add a symptom or an alarm").click()
    page.locator("select[data-path='events[0].kind']").select_option(label="Fainted")
    page.get_by_role("button", name="Look it over").click()
    expect(page.locator("#screen")).to_contain_text("Entered from paper")

    # The server is away for a moment: what was typed stays.
    page.route("**/api/v1/treatments/**", lambda route: route.abort())
    page.get_by_role("button", name="Hand over").click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing that you typed is lost")
    page.unroute("**/api/v1/treatments/**")
    page.get_by_role("button", name="Hand over").click()
    page.wait_for_url("**/nights/**")
    expect(page.locator("main")).to_contain_text("entered from paper")
    expect(page.locator("main")).to_contain_text("Written down by Nurse Kim")

    kept = TreatmentRecord.objects.get(patient=ana)
    began = kept.started_at.astimezone(ZoneInfo("America/Halifax"))
    assert (f"{began:%H:%M}", kept.source, kept.recorded_by, kept.state) == ("22:30", "paper", nurse, "finished")
    assert kept.document["confirmed"] == ["pre_systolic"]
    evaluate_pending(at=timezone.now())
    assert Alert.objects.filter(patient=ana, rule="fainted").count() == 1
    client = Client()
    client.force_login(nurse)
    assert "Entered from paper" in client.get(f"/patients/{ana.pk}/?days=30").content.decode()

    # Typed a second time by mistake: the second look says that the unit has it.
    page = watched.open(f"/patients/{ana.pk}/from-paper/")
    fill(page, {"started_at": "2230", "ended_at": "0230"})
    page.get_by_role("button", name="A day earlier").click()
    page.get_by_role("button", name="Look it over").click()
    expect(page.locator("#screen")).to_contain_text("The unit has a treatment of")
