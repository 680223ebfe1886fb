"""The unit's pages and those that show numbers: usable by everyone, at both sizes, in both themes; charts drawn."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from alerts.services.evaluation import evaluate_pending
from homedialysis.accounts.models import User
from sessions.models import AccessSite, Patient, Prescription, TreatmentRecord
from tests.browser.conftest import DESKTOP, PHONE, BrowserPage
from tests.browser.judging import expect_sound_in_every_look
from tests.factories import BloodFactory, record_night

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def nights(ana: Patient, anas_prescription: Prescription, anas_sites: list[AccessSite]) -> list[TreatmentRecord]:
    lately = timezone.now().replace(microsecond=0) - timedelta(days=20)
    sites = [{"site": site.pk, "use": site.use, "attempts": 1, "bleeding_minutes": 6} for site in anas_sites]
    made = [record_night(ana, lately + timedelta(days=2 * index), sites=sites) for index in range(5)]
    for timing, value in (("pre", 22), ("post", 7)):
        BloodFactory(
            patient=ana,
            treatment=made[0],
            timing=timing,
            value=value,
            drawn_at=made[0].started_at if timing == "pre" else made[0].ended_at,
            post_method="slow_flow" if timing == "post" else "",
        )
    evaluate_pending(at=timezone.now())
    return made


def pages_of(patient: Patient, night: TreatmentRecord) -> list[str]:
    own = f"/patients/{patient.pk}"
    return [
        "/patients/",
        f"{own}/",
        f"{own}/prescription/",
        f"{own}/bloods/",
        f"{own}/access/",
        f"{own}/invite/",
        f"{own}/limits/",
        "/patients/new/",
        f"/nights/{night.pk}/",
        f"/nights/{night.pk}/versions/",
        f"/nights/{night.pk}/numbers/single_pool_ktv/",
        "/team/",
        "/unit/",
        "/devices/",
    ]


def test_pages_have_no_accessibility_fault(
    browser_page: BrowserPage, ana: Patient, nephrologist: User, administrator: User, nights: list[TreatmentRecord]
) -> None:
    for user, paths in ((nephrologist, pages_of(ana, nights[0])), (administrator, ["/team/", "/unit/"])):
        watched = browser_page(user, size=DESKTOP, bypass_csp=True)
        for path in paths:
            watched.open(path).wait_for_load_state("networkidle")
            expect_sound_in_every_look(watched.page, DESKTOP, PHONE)


@pytest.mark.parametrize("colour", ["light", "dark"])
def test_the_charts_are_drawn_under_the_strict_policy(
    browser_page: BrowserPage, ana: Patient, nurse: User, nights: list[TreatmentRecord], colour: str
) -> None:
    watched = browser_page(nurse, colour=colour, size=DESKTOP)
    page = watched.open(f"/patients/{ana.pk}/")
    for figure in ("figure-weight", "figure-uf-rate", "figure-time-line"):
        expect(page.locator(f"[data-figure='{figure}'] .main-svg").first).to_be_visible()
    drawn: dict[str, Any] = page.evaluate(
        """() => Object.fromEntries([...document.querySelectorAll('.chart')].map((chart) => [
            chart.dataset.figure,
            [...chart.querySelectorAll('.scatterlayer .trace')].map(
              (trace) => trace.querySelectorAll('path.point').length
                + ' ' + getComputedStyle(trace.querySelector('path.js-line') ?? trace).strokeDasharray),
        ]))"""
    )
    assert set(drawn) == {
        "figure-time-line",
        "figure-weight",
        "figure-length",
        "figure-single-pool",
        "figure-blood-pressure",
        "figure-line-pressures",
        "figure-uf-rate",
    }
    points = {name: [int(line.split()[0]) for line in lines] for name, lines in drawn.items()}
    assert points["figure-weight"][:3] == [5, 5, 0], "before, after, and the target as a line"
    assert "none" not in drawn["figure-weight"][2], "the target is dashed: the rules of the figure are in force"
