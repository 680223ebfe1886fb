"""A forecast is kept as a change is signed, and held against what came four and eight weeks later."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import ProgrammingError, transaction
from django.test import Client
from django.utils import timezone

from dosing.models import ChangeForecast, PatientMonth
from dosing.services.decision import forecasts
from dosing.services.decision.forecast_words import held, line_for, share_held, story_of
from dosing.services.decision.forecasts import read_some
from dosing.services.decision.outcome import weeks_of
from homedialysis.accounts.models import User
from sessions.models import Patient, Prescription
from sessions.services.prescribing import sign_prescription, take_back
from tests.crowd import ours
from tests.factories import PrescriptionFactory, record_night
from tests.page_text import laid_flat

pytestmark = pytest.mark.django_db
BEGINS = datetime(2026, 3, 2, 12, tzinfo=UTC)


def signed(person: Patient, by: User, at: datetime = BEGINS, **changes: Any) -> Prescription:
    first = PrescriptionFactory(patient=person, version=1)
    order = PrescriptionFactory.build(patient=person, dialyser=first.dialyser, minutes=300, **changes)
    return sign_prescription(prescription=order, by=by, at=at)


def test_what_is_expected_is_kept_as_it_is_signed_and_never_moves(ana: Patient, nephrologist: User) -> None:
    order = signed(ana, nephrologist)
    kept = ours(ChangeForecast).get()
    assert kept.prescription == order
    assert kept.expected["dose_low"] < kept.expected["standard_ktv"] < kept.expected["dose_high"]
    assert (kept.expected["fitted"], kept.before["done"]) == (False, 0)
    kept.expected = {}
    with pytest.raises(ProgrammingError), transaction.atomic():
        kept.save()
    assert not ChangeForecast.objects.filter(prescription__version=1).exists(), "the first changes nothing"


def test_a_schedule_that_no_model_takes_says_so(ana: Patient, nephrologist: User) -> None:
    signed(ana, nephrologist, weekdays=[], days_per_week=2.5)
    kept = ours(ChangeForecast).get()
    assert story_of(kept, None).why == "The planner’s model does not take this schedule: nothing was foretold."
    assert held(kept) is None


def test_a_signature_never_fails_because_a_forecast_does(
    ana: Patient, nephrologist: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: Any) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(forecasts, "_expected", broken)
    assert signed(ana, nephrologist).version == 2
    assert ours(ChangeForecast).get().expected == {"why": "failed"}


def test_what_is_taken_back_takes_its_forecast_along(ana: Patient, nephrologist: User) -> None:
    order = signed(ana, nephrologist, at=timezone.now())
    PrescriptionFactory.build()
    last = PrescriptionFactory.build(patient=ana, dialyser=order.dialyser, minutes=270)
    at = timezone.now()
    sign_prescription(prescription=last, by=nephrologist, at=at, begins=at + timedelta(days=3))
    assert ours(ChangeForecast).count() == 2
    take_back(prescription=last, by=nephrologist, at=at)
    assert ours(ChangeForecast).get().prescription == order


def test_it_is_read_when_its_weeks_are_over_and_again_when_months_are_computed_anew(
    ana: Patient, nephrologist: User
) -> None:
    signed(ana, nephrologist)
    for days, read in ((27, set()), (28, {"4"}), (29, {"4"}), (57, {"4", "8"})):
        read_some(at=BEGINS + timedelta(days=days))
        assert set(ours(ChangeForecast).get().came) == read
    at = ours(ChangeForecast).get().came_at
    read_some(at=BEGINS + timedelta(days=58))
    assert ours(ChangeForecast).get().came_at == at, "nothing is new"
    march = PatientMonth.objects.filter(patient=ana, month=date(2026, 3, 1))
    march.update(stale=False, computed_at=BEGINS + timedelta(days=59))
    read_some(at=BEGINS + timedelta(days=60))
    assert ours(ChangeForecast).get().came_at == BEGINS + timedelta(days=60)
    came = ours(ChangeForecast).get().came
    assert (set(came), came["8"]["done"], came["8"]["prescribed"]) == ({"4", "8"}, 0, 12)


def test_what_the_next_change_cut_short_is_not_held_against_anything(ana: Patient, nephrologist: User) -> None:
    order = signed(ana, nephrologist)
    again = PrescriptionFactory.build(patient=ana, dialyser=order.dialyser, minutes=270)
    sign_prescription(prescription=again, by=nephrologist, at=BEGINS + timedelta(days=9))
    read_some(at=BEGINS + timedelta(days=60))
    kept = ours(ChangeForecast).get(prescription=order)
    assert kept.came == {"4": {}, "8": {}}
    assert story_of(kept, None).rows[0].came == ["changed again", "changed again"]


def test_the_weeks_are_those_of_the_records(ana: Patient) -> None:
    """One treatment in its two weeks: weight and treatments by hand."""
    PrescriptionFactory(patient=ana, version=1)
    record = record_night(ana)
    found = weeks_of(ana, record.started_at - timedelta(days=7), record.started_at + timedelta(days=7))
    assert (found["done"], found["weight"], found["pre_systolic"]) == (
        1, record.post_weight_kg, record.pre_systolic,
    )  # fmt: skip
    assert found["phosphate"] is None


def forecast_of(ana: Patient, came: float, **more: Any) -> ChangeForecast:
    order = Prescription(patient=ana, version=2)
    expected = {"standard_ktv": 2.4, "dose_low": 2.2, "dose_high": 2.6, "over": 0.1}
    weeks = {"dose": came, "dose_low": came - 0.1, "dose_high": came + 0.1, "over": 0.25, "done": 11, "prescribed": 12}
    return ChangeForecast(prescription=order, made_at=BEGINS, expected=expected, came={"4": weeks, **more})


def test_it_is_said_whether_what_came_is_what_was_foretold() -> None:
    person = Patient(name="Ana")
    near, far = forecast_of(person, 2.65), forecast_of(person, 2.9)
    assert (held(near), held(far)) == (True, False)
    line = "dose: foretold 2.40 (2.20 to 2.60); weeks 1–4 2.65 (2.55 to 2.75), 5–8 not over yet"
    assert line_for("dose", near) == line
    line = "nights that need more than the ordered UF rate: foretold 10 %; weeks 1–4 25 %"
    assert line_for("fluid", near).startswith(line), "the words of its row on the page of changes"
    assert line_for("access", near) == ""
    count, known, interval = share_held([near, far, forecast_of(person, 2.4, **{"8": {}})])
    assert (count, known) == (2, 3)
    assert interval
    assert interval.low.number == pytest.approx(0.0943, abs=5e-5), "Clopper and Pearson, 2 of 3"


def test_staff_see_it_of_a_patient_and_of_the_unit(
    nephrologist_client: Client, ana: Patient, nephrologist: User
) -> None:
    signed(ana, nephrologist)
    read_some(at=BEGINS + timedelta(days=60))
    own = laid_flat(nephrologist_client.get(f"/patients/{ana.pk}/changes/"))
    assert "Length, min: 240 → 300" in own
    assert "Foretold when signed" in own
    unit = laid_flat(nephrologist_client.get("/changes/"))
    assert ana.name in unit
    screen = nephrologist_client.get(f"/patients/{ana.pk}/months/2026-05/review/")
    assert screen.context["tiles"][0].came.startswith("A: dose: foretold ")
