"""How a number came about, in a real browser: for staff at the desk, for patients on the phone, in light and dark."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from dosing.services.month.computing import compute_month
from dosing.services.night.computing import compute
from sessions.models import AccessSite, Patient, Prescription, TreatmentRecord
from tests.browser.conftest import DESKTOP, PHONE, BrowserPage
from tests.browser.judging import expect_sound_in_every_look
from tests.factories import A_NIGHT, BloodFactory, record_night

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def treated(ana: Patient, anas_prescription: Prescription, anas_sites: list[AccessSite]) -> TreatmentRecord:
    """Six nights, bloods with the last."""
    for days in (0, 2, 4, 7, 9, 11):
        record = record_night(ana, A_NIGHT + timedelta(days=days), pre_weight_kg=72.4, post_weight_kg=70.2)
        if days == 11:
            BloodFactory(patient=ana, treatment=record, value=24.3, drawn_at=record.started_at)
            after = {"timing": "post", "post_method": "slow_flow", "drawn_at": record.ended_at}
            BloodFactory(patient=ana, treatment=record, value=8.1, **after)
        compute(record, at=timezone.now())
    compute_month(ana, A_NIGHT.date().replace(day=1), at=timezone.now())
    return record


def test_its_pages_are_usable_by_everyone(
    browser_page: BrowserPage, treated: TreatmentRecord, ana: Patient, nurse: object
) -> None:
    months, night = f"/patients/{ana.pk}/months/2026-03", f"/nights/{treated.pk}/numbers"
    staffs = [f"{months}/measured_week/", f"{months}/uf_rate_mean/", f"{months}/npcr/", f"{night}/standard_ktv/"]
    patients = [f"{night}/{key}/" for key in ("standard_ktv", "equilibrated_ktv", "venous_median", "bleeding")]
    for user, sizes, paths in ((nurse, (DESKTOP, PHONE), staffs), (ana.account, (PHONE,), patients)):
        watched = browser_page(user, size=sizes[0], bypass_csp=True, worker=False)
        for path in paths:
            watched.open(path).wait_for_load_state("networkidle")
            expect_sound_in_every_look(watched.page, *sizes)
