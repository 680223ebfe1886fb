"""Every computed number is worked out again from what its own page shows, and comes to what the page says.

The pages are read as a reader reads them; the arithmetic is `tests.dosing.by_hand`, which knows nothing of the product.
"""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.computing import compute_month
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.computing import compute
from sessions.models import AccessSite, BloodResult, Patient, Prescription, TreatmentRecord, UrineCollection
from tests.dosing.by_hand import WorkedPage
from tests.dosing.worked_pages import differing
from tests.factories import A_NIGHT, BloodFactory, WaterTestFactory, record_night

pytestmark = pytest.mark.django_db
MARCH = date(2026, 3, 1)


def bloods(ana: Patient, record: TreatmentRecord, pre: float, post: float, **how: Any) -> None:
    BloodFactory(patient=ana, treatment=record, value=pre, drawn_at=record.started_at)
    after = {"timing": "post", "post_method": "slow_flow", "drawn_at": record.ended_at} | how
    BloodFactory(patient=ana, treatment=record, value=post, **after)


def urine(ana: Patient, ended_at: datetime) -> None:
    UrineCollection.objects.create(
        patient=ana, began_at=ended_at - timedelta(hours=24), ended_at=ended_at, volume_ml=640, urea_mmol_l=130,
        entered_by=ana.account, entered_at=ended_at,
    )  # fmt: skip


@pytest.fixture
def treated(ana: Patient, anas_prescription: Prescription, anas_sites: list[AccessSite]) -> list[TreatmentRecord]:
    """Three weeks, thrice a week, no two nights alike; bloods with the last but one, urine collected before it."""
    records = []
    for at, days in enumerate((-18, -16, -14, -11, -9, -7, -4, -2, 0)):
        record = record_night(
            ana, A_NIGHT + timedelta(days=days + 9, minutes=7 * at),
            minutes=231 + 3 * at, pre_weight_kg=72.4 + 0.1 * at, post_weight_kg=70.1 + 0.06 * at,
            uf_removed_l=2.35 + 0.11 * at, rinse_back_l=0.3, intake_l=0.2, pre_systolic=141 + at, pre_diastolic=83 - at,
            post_systolic=118 + at, post_diastolic=68,
            sites=[{"site": anas_sites[0].pk, "use": "arterial", "bleeding_minutes": 4 + at}],
        )  # fmt: skip
        records.append(record)
    bloods(ana, records[-2], 24.3, 8.1)
    urine(ana, records[-2].started_at)
    for value, before in ((14.9, timedelta(hours=24)), (24.3, timedelta(0))):
        BloodFactory(
            patient=ana, value=value, timing="apart", drawn_at=records[-2].started_at - before - timedelta(hours=1)
        )
    for record in records:
        compute(record, at=timezone.now())
    return records


def of_night(record: TreatmentRecord) -> dict[str, str]:
    return {key: f"/nights/{record.pk}/numbers/{key}/" for key in NIGHT_NUMBERS}


def test_every_number_of_a_night_comes_out_of_what_its_page_shows(
    nurse_client: Client, treated: list[TreatmentRecord]
) -> None:
    assert differing(nurse_client, of_night(treated[-2]), NIGHT_NUMBERS) == {}


def test_also_of_a_woman_with_a_catheter_whose_volumes_are_read(
    nurse_client: Client, ana: Patient, treated: list[TreatmentRecord]
) -> None:
    """Another equation of V, another rebound, blood by the readings of the flow, fluid without the machine's total."""
    record = treated[-2]
    Patient.objects.filter(pk=ana.pk).update(sex="female")
    ana.accesses.update(kind="catheter")
    TreatmentRecord.objects.filter(pk=record.pk).update(blood_processed_l=None, uf_removed_l=None)
    record = TreatmentRecord.objects.get(pk=record.pk)
    compute(record, at=timezone.now())
    unknown = dict.fromkeys(("expected_weight", "uf_rate_fastest"), ("unknown", "unknown"))
    assert differing(nurse_client, of_night(record), NIGHT_NUMBERS) == unknown, "weights cannot be held against fluid"
    steps = worked_steps(nurse_client, record, "equilibrated_ktv")
    assert steps["τ"] == ("22", 22)
    assert worked_steps(nurse_client, record, "standard_ktv")["V"][0].startswith("0.1069 · H")


def worked_steps(client: Client, record: TreatmentRecord, key: str) -> dict[str, tuple[str, float]]:
    page = WorkedPage(client.get(f"/nights/{record.pk}/numbers/{key}/").content.decode())
    return {symbol: (written, shown) for symbol, written, shown in page.steps}


def test_every_number_of_a_month_comes_out_of_what_its_page_shows(
    nurse_client: Client, ana: Patient, treated: list[TreatmentRecord]
) -> None:
    """All analytes and the kidney among them."""
    for name, value in (("2823-3", 6.1), ("14879-1", 1.9), ("1963-8", 21), ("2000-8", 2.31), ("14866-8", 31),
                        ("1751-7", 38), ("718-7", 108), ("2276-4", 410), ("2502-3", 22)):  # fmt: skip
        BloodFactory(patient=ana, analyte=name, value=value, timing="pre", drawn_at=treated[-2].started_at)
    compute_month(ana, MARCH, at=timezone.now())
    paths = {key: f"/patients/{ana.pk}/months/2026-03/{key}/" for key in MONTH_NUMBERS}
    del paths["water"]
    assert differing(nurse_client, paths, MONTH_NUMBERS) == {}


def test_a_volume_that_no_bloods_made_comes_out_of_the_body(
    nurse_client: Client, ana: Patient, treated: list[TreatmentRecord]
) -> None:
    """Nine tenths of the body water, of what is kept of the patient; the surface of the same body."""
    where = f"/patients/{ana.pk}/months/2026-03/"
    compute_month(ana, MARCH, at=timezone.now())
    surface = WorkedPage(nurse_client.get(f"{where}week_per_surface/").content.decode())
    assert [symbol for symbol, _written, _shown in surface.steps] == ["V", "BSA"]
    assert {"A", "H", "W", "Sk"} <= set(surface.given)
    assert not [
        step for step in WorkedPage(nurse_client.get(f"{where}kidney_week/").content.decode()).steps if step[0] == "V"
    ]
    BloodResult.objects.filter(patient=ana, timing="post").delete()
    compute_month(ana, MARCH, at=timezone.now())
    page = WorkedPage(nurse_client.get(f"{where}kidney_week/").content.decode())
    ((written, shown),) = [(written, shown) for symbol, written, shown in page.steps if symbol == "V"]
    assert written.startswith("0.9 · (2.447")
    assert shown == pytest.approx(
        0.9 * (2.447 - 0.09516 * page.given["A"] + 0.1074 * page.given["H"] + 0.3362 * page.given["W"])
    )
    assert differing(nurse_client, {"kidney_week": f"{where}kidney_week/"}, MONTH_NUMBERS) == {}


@pytest.mark.parametrize(("count", "grade"), [(20, "within the limit"), (60, "action level"), (130, "over the limit")])
def test_the_grade_of_water_follows_from_the_levels_that_its_page_shows(
    count: float, grade: str, nurse_client: Client, ana: Patient
) -> None:
    """A grade is a word: by hand it is how many of the two levels the result has come to."""
    WaterTestFactory(patient=ana, kind="bacteria", value=count, sampled_at=A_NIGHT)
    compute_month(ana, MARCH, at=timezone.now())
    page = WorkedPage(nurse_client.get(f"/patients/{ana.pk}/months/2026-03/water/").content.decode())
    result, action, limit = (page.given[name] for name in ("x", "La", "Lm"))
    passed = (result >= action) + (result > limit)
    assert page.result == grade == ["within the limit", "action level", "over the limit"][passed]


def test_the_page_of_a_modelled_number_shows_what_the_fit_was_made_from(
    nurse_client: Client, ana: Patient, treated: list[TreatmentRecord]
) -> None:
    """Every treatment with its length, clearance and fluid, and every pair, so that another integrator can fit it."""
    compute_month(ana, MARCH, at=timezone.now())
    answer = nurse_client.get(f"/patients/{ana.pk}/months/2026-03/modelled_week/")
    fit = answer.context["fit"]
    assert len(fit.treatments.rows) == len(treated)
    hours = [float(row[1]) for row in fit.treatments.rows]
    assert hours == pytest.approx([(231 + 3 * at) / 60 for at in range(9)])
    assert [row[1:4] for row in fit.pairs.rows] == [["24.3", "8.1", "0"]]
    assert [line.quantity.plain for line in fit.beforehand][:3] == ["V0", "SDlnV", "G0"]
    assert "What the fit was made from" in answer.content.decode()
    assert nurse_client.get(f"/patients/{ana.pk}/months/2026-03/gain_mean/").context["fit"] is None
    of_night = nurse_client.get(f"/nights/{treated[-2].pk}/numbers/fitted_week/").context["fit"]
    assert of_night.pairs == fit.pairs
    assert of_night.treatments.rows == fit.treatments.rows[:-1], "up to that night"
    assert nurse_client.get(f"/nights/{treated[-2].pk}/numbers/uf_rate/").context["fit"] is None


def names_of_the_inside(html: str) -> set[str]:
    """What looks like a name out of the code: with an underscore, or a module by its dots."""
    text = re.sub(r"<script.*?</script>|<style.*?</style>|<[^>]*>", " ", html, flags=re.DOTALL)
    return set(re.findall(r"\b[a-z]+(?:_[a-z0-9]+)+\b|\b(?:dosing|sessions|alerts|homedialysis)\.[a-z_.]+", text))


def test_no_page_of_a_number_shows_a_name_of_the_inside(
    nurse_client: Client, ana: Patient, treated: list[TreatmentRecord]
) -> None:
    """Nor an input that nobody has put into words: these would be shown by their names without underscores."""
    compute_month(ana, MARCH, at=timezone.now())
    paths = [*of_night(treated[-2]).values(), *(f"/patients/{ana.pk}/months/2026-03/{key}/" for key in MONTH_NUMBERS)]
    for path in paths:
        assert names_of_the_inside(nurse_client.get(path).content.decode()) == set(), path
    assert names_of_the_inside("<p>by dosing.science.kinetics, weekly_uf_l</p>") == {
        "dosing.science.kinetics",
        "weekly_uf_l",
    }
