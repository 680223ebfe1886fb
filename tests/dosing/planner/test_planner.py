"""The planner: a model fitted to bloods gives back what made them, and the answers agree with trying each schedule."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from django.test import Client
from django.utils import timezone

from dosing.pages.forms_planner import PlannerForm, asked_of, read_back, written
from dosing.science.fitted_dose import FittedPatient
from dosing.science.fluid_need import FluidNights, fluid_nights
from dosing.science.kinetics import PatientParameters, weekly_steady_state
from dosing.science.reasons import Reason
from dosing.services.course.reading import course_at
from dosing.services.night.computing import compute
from dosing.services.planner.candidates import (
    Candidate,
    FewestHours,
    LeastFlow,
    RateMap,
    least_flow,
    map_of,
    schedule_of,
    try_out,
)
from dosing.services.planner.drafting import values_of
from dosing.services.planner.expecting import Wanted, expect
from dosing.services.planner.figures import heat_map
from dosing.services.planner.fluid_history import nights_now
from dosing.services.planner.fluid_of_schedule import fluid_of
from dosing.services.planner.patterns import pattern_of
from dosing.services.planner.solutes_of_schedule import SoluteNow, SolutesNow, phosphate_map, solutes_of
from dosing.services.planner.urea_model import UreaModel, urea_model
from sessions.facts.choices import PostSampleMethod
from sessions.models import Patient, Prescription, PrescriptionDraft, TreatmentRecord
from tests.crowd import ours
from tests.factories import BloodFactory, PrescriptionFactory, record_night

pytestmark = pytest.mark.django_db
VOLUME, GENERATION = 35.0, 0.2


@pytest.fixture
def prescription(ana: Patient) -> Prescription:
    made: Prescription = PrescriptionFactory(patient=ana, version=1, days_per_week=3, weekdays=[], minutes=240)
    return made


KNOWN_TO = np.diag([0.04, 0.0, 0.05, 0.0, 0.0]) ** 2


def model(**changes: Any) -> UreaModel:
    """A patient whose volume is known to four per cent."""
    usual: dict[str, Any] = {"volume": VOLUME, "generation": GENERATION, "fluid_gain": 1.0, "covariance": KNOWN_TO}
    own = {name: changes.pop(name) for name in list(changes) if name in FittedPatient.__dataclass_fields__}
    person = FittedPatient(**(usual | own))
    told: dict[str, Any] = {"volume_spread": 1.4, "generation_spread": 0.01, "fitted": True, "why": None}
    return UreaModel(person=person, **(told | changes))


def candidate(prescription: Prescription, **changes: Any) -> Candidate:
    usual: dict[str, Any] = {
        "pattern": pattern_of(3),
        "minutes": 240,
        "qb_ml_min": 300,
        "qd_ml_min": 500,
        "dialyser": prescription.dialyser,
    }
    return Candidate(**(usual | changes))


def nights(gained: float = 2.0, *, gap: float = 2 - 4 / 24, count: int = 24) -> FluidNights:
    """Treatments of one that gains about so much over this gap [days], and takes in 0.5 L during each."""
    scatter = np.linspace(0.8, 1.2, count)
    return fluid_nights(
        gap_days=np.full(count, gap), gained_l=gained * scatter, given_l=np.full(count, 0.5), weight_kg=70
    )


NIGHTS_OF_2 = nights()


def whole_map(one: Candidate, told: UreaModel | None = None) -> RateMap:
    return map_of(one, told or model(), NIGHTS_OF_2, weight_kg=70, dose=2.1, uf_rate=10)


def nights_with_bloods(ana: Patient, prescription: Prescription, *, months: int, volume: float = VOLUME) -> None:
    """Treatments of three weeks, and the bloods that a patient of this volume would have at the steady week."""

    schedule = schedule_of([candidate(prescription)])
    known = PatientParameters(volume=volume, generation=GENERATION, fluid_gain=_GAIN)
    week = weekly_steady_state(schedule=schedule, patient=known)
    start = timezone.now().replace(microsecond=0) - timedelta(days=28 * months)
    for month in range(months):
        for day in (0, 2, 4):
            record = _night(ana, start + timedelta(days=28 * month + day))
        _bloods(ana, record, float(week.pre_plasma.value[0, 2]), float(week.post_plasma.value[0, 2]))


_GAIN = 1.0


def _night(ana: Patient, at: Any) -> TreatmentRecord:
    reading = {"qb_ml_min": 300, "qd_ml_min": 500}
    readings = [{"at": (at + timedelta(hours=hours)).isoformat(), **reading} for hours in (1, 2, 3)]
    record = record_night(ana, at, readings=readings, pre_weight_kg=None, post_weight_kg=70)
    compute(record, at=timezone.now())
    return record


def _bloods(ana: Patient, record: TreatmentRecord, pre: float, post: float) -> None:
    common = {"patient": ana, "treatment": record}
    BloodFactory(**common, value=pre, drawn_at=record.started_at, timing="pre")
    BloodFactory(**common, value=post, drawn_at=record.ended_at, timing="post", post_method=PostSampleMethod.SLOW_FLOW)


def test_the_fit_gives_back_the_patient_that_made_the_bloods(ana: Patient, prescription: Prescription) -> None:
    nights_with_bloods(ana, prescription, months=3)
    found = urea_model(course_at(ana, timezone.now()))
    assert found.fitted, found.why
    assert found.volume_as_noted == pytest.approx(VOLUME, rel=0.03)
    assert found.generation / found.person.clearance_factor == pytest.approx(GENERATION, rel=0.05)
    assert (found.pairs, [check.drifted for check in found.checks]) == (3, [False, False])


def test_a_patient_who_is_no_longer_the_same_makes_the_model_say_that_it_drifted(
    ana: Patient, prescription: Prescription
) -> None:
    nights_with_bloods(ana, prescription, months=3)
    last = ana.treatments.order_by("-started_at").first()
    assert last
    ana.bloods.filter(treatment=last, timing="post").update(
        value=ana.bloods.get(treatment=last, timing="pre").value / 2
    )
    checks = urea_model(course_at(ana, timezone.now())).checks
    assert [check.drifted for check in checks] == [False, True]


def test_without_bloods_it_says_that_it_assumes(ana: Patient, prescription: Prescription) -> None:
    found = urea_model(course_at(ana, timezone.now()))
    assert (found.fitted, found.checks) == (False, ())
    assert found.volume_spread == pytest.approx(0.12 * found.volume)
    assert "fewer than 2 treatments" in str(found.why)
    nights_with_bloods(ana, prescription, months=1)
    ana.bloods.all().delete()
    alone = urea_model(course_at(ana, timezone.now()))
    assert (alone.fitted, alone.pairs) == (False, 0)
    assert "no urea before and after one treatment" in str(alone.why)
    assert alone.volume_spread == pytest.approx(found.volume_spread)


def test_unprotected_samples_do_not_fit_a_model(ana: Patient, prescription: Prescription) -> None:
    nights_with_bloods(ana, prescription, months=1)
    ana.bloods.filter(timing="post").update(post_method=PostSampleMethod.NEITHER)
    assert not urea_model(course_at(ana, timezone.now())).fitted


@pytest.mark.parametrize("per_week", [2, 3, 3.5, 4, 5, 6, 7])
def test_a_batch_says_the_same_as_one_schedule_at_a_time(per_week: float, prescription: Prescription) -> None:
    one = candidate(prescription, pattern=pattern_of(per_week), minutes=300)
    whole = whole_map(one)
    row, column = whole.nights.index(per_week), int(np.argmin(abs(whole.hours - 5)))
    alone = try_out([one], model())
    assert whole.dose[row, column] == pytest.approx(alone.dose[0], rel=1e-12)
    hardest = fluid_of(one.pattern, 300, NIGHTS_OF_2, weight_kg=70, limit=10).worst
    assert whole.uf_rate[row, column] == pytest.approx(hardest.most_rate, rel=1e-12)


def test_the_drawn_map_says_what_was_computed_and_marks_what_is_not_as_wanted(prescription: Prescription) -> None:
    one = candidate(prescription, minutes=300)
    found = whole_map(one)
    own = float(try_out([one], model()).dose[0])
    bars, doses, crosses, here = json.loads(json.dumps(heat_map(found, one, found.dose, own, good=True)["data"]))
    assert not {bars["type"], doses["type"], crosses["type"]} & {"heatmap", "image", "contour"}, "no style attribute"
    assert len(bars["y"]) == len(bars["base"]) == len(bars["marker"]["color"]) == len(found.nights) * 33
    at = bars["y"].index("3 nights a week") + 8
    assert bars["base"][at] + bars["x"][at] / 2 == pytest.approx(4)
    place = found.nights.index(3), int(np.argmin(abs(found.hours - 4)))
    assert bars["customdata"][at] == pytest.approx([found.dose[place], found.uf_rate[place]], abs=1e-3)
    told = dict(zip(zip(doses["y"], doses["x"], strict=True), doses["text"], strict=True))
    assert told["3 nights a week", 4] == f"{found.dose[place]:.1f} ×", "the UF rate is over 10 here"
    assert found.uf_rate[place] > 10
    shown = {(name, hours) for name, hours in zip(crosses["y"], crosses["x"], strict=True)}
    halves = [(row, column) for row in range(len(found.nights)) for column in range(6, len(found.hours), 12)]
    bad = sum(not found.good[spot] for spot in halves)
    beside = [place[0] == spot[0] and abs(found.hours[spot[1]] - 5) < 0.51 for spot in halves if not found.good[spot]]
    assert len(shown) == bad - sum(beside) > 0
    assert (here["x"], here["y"], here["text"]) == ([5], ["3 nights a week"], [f"{own:.1f}"])


def test_nothing_is_written_over_the_figure_of_the_schedule_itself(prescription: Prescription) -> None:
    for minutes in (240, 255, 270, 300):
        one = candidate(prescription, minutes=minutes)
        found = whole_map(one)
        _bars, figures, crosses, here = heat_map(found, one, found.dose, 2.25, good=False)["data"]
        for other in (figures, crosses):
            near = [
                x
                for y, x in zip(other["y"], other["x"], strict=True)
                if y == here["y"][0] and abs(x - minutes / 60) < 0.5
            ]
            assert near == []
        assert here["text"] == ["2.2 ×"]


def test_the_map_of_the_uf_rate_marks_the_same_places(prescription: Prescription) -> None:
    one = candidate(prescription, minutes=480)
    found = whole_map(one)
    bars, rates, crosses, _here = heat_map(found, one, found.uf_rate, 1.0, good=True)["data"]
    told = dict(zip(zip(rates["y"], rates["x"], strict=True), rates["text"], strict=True))
    rate = fluid_of(pattern_of(3), 240, NIGHTS_OF_2, weight_kg=70, limit=10).worst.most_rate
    assert told["3 nights a week", 4] == f"{rate:.1f} ×"
    assert bars["marker"]["color"][bars["y"].index("3 nights a week") + 8] == pytest.approx(rate, abs=1e-3)
    assert crosses == heat_map(found, one, found.dose, 1.0, good=True)["data"][2]


def test_the_fewest_hours_are_good_and_a_step_less_is_not(prescription: Prescription) -> None:
    found = whole_map(candidate(prescription))
    best = found.least_hours(0, None)
    assert best
    assert not best.at_edge
    wanted = Wanted(2.1, 10, 70)
    for minutes, good in ((best.hours * 60, True), (best.hours * 60 - 5, False)):
        one = candidate(prescription, pattern=pattern_of(best.nights), minutes=minutes)
        assert expect(one, model(), NIGHTS_OF_2, wanted).good == good
    weekly = np.asarray(found.nights)[:, None] * found.hours
    assert weekly[found.good].min() == pytest.approx(best.nights * best.hours)


def test_fewest_hours_at_the_edge_of_the_search_say_so(prescription: Prescription) -> None:
    one = candidate(prescription, qb_ml_min=400)
    little = nights(0.4)
    found = map_of(one, model(), little, weight_kg=70, dose=1.0, uf_rate=20)
    best = found.least_hours(0, None)
    assert best == FewestHours(2.0, 2.0, at_edge=True)


@pytest.mark.parametrize("flow", [151, 160, 260, 263, 450])
def test_the_least_flow_gives_the_dose_and_a_little_less_does_not(prescription: Prescription, flow: int) -> None:
    one = candidate(prescription, minutes=300)
    sure = float(try_out([candidate(prescription, minutes=300, qb_ml_min=flow)], model()).sure_dose[0])
    assert least_flow(one, model(), dose=sure - 1e-9) == LeastFlow(flow, at_edge=False)


def test_the_least_flow_at_the_edge_of_the_search_says_so(prescription: Prescription) -> None:
    one = candidate(prescription, minutes=300)
    assert least_flow(one, model(), dose=1) == LeastFlow(150, at_edge=True)
    assert least_flow(one, model(), dose=6) is None


def test_a_schedule_survives_its_word_in_an_address(prescription: Prescription) -> None:
    for per_week in (2, 3, 3.5, 7):
        one = candidate(prescription, pattern=pattern_of(per_week), minutes=285)
        assert read_back(written(one)) == one
    for word in ("", "x~1~2", "024~240~300~500~999999", "024~9~300~500~1", "abc~240~300~500~1", "024~nan~300~500~1"):
        assert read_back(word) is None


def test_days_that_contradict_the_number_of_nights_are_left_out_and_that_is_said(
    nurse_client: Client, ana: Patient, prescription: Prescription
) -> None:
    asked = asked_of(prescription) | {"weekdays": ["0", "1"]}
    form = PlannerForm(asked)
    assert form.is_valid()
    assert form.candidate().pattern == pattern_of(3)
    page = nurse_client.get(f"/patients/{ana.pk}/planner/", asked).content.decode()
    assert "2 days are marked, but 3 nights a week are chosen: what you see is spread over the week." in page
    assert "What would follow" in page


def test_the_page_compares_up_to_four_and_shows_what_it_leaves_out(
    nurse_client: Client, ana: Patient, prescription: Prescription
) -> None:
    nights_with_bloods(ana, prescription, months=3)
    where = f"/patients/{ana.pk}/planner/"
    page = nurse_client.get(where).content.decode()
    assert "What the model leaves out" in page
    assert "it advises nobody" in page
    others = [written(candidate(prescription, pattern=pattern_of(nights))) for nights in (4, 5, 6, 7)]
    query = {**asked_of(prescription), "with": others}
    several = nurse_client.get(where, query, headers={"HX-Request": "true"}).content.decode()
    assert [name for name in ("Schedule B", "Schedule C", "Schedule D") if name in several] == [
        "Schedule B",
        "Schedule C",
        "Schedule D",
    ]
    assert "<html" not in several
    figure = json.loads(re.search(r'id="figure-week"[^>]*>(.*?)</script>', several, re.DOTALL)[1])  # type: ignore[index]
    assert len(figure["data"]) == 4, "the schedule asked for is the one in force"
    assert "removed than" not in several


def test_a_draft_is_kept_with_what_the_model_expects_and_signs_nothing(
    nurse_client: Client, ana: Patient, prescription: Prescription
) -> None:
    word = written(candidate(prescription, pattern=pattern_of(5), minutes=180))
    nurse_client.post(
        f"/patients/{ana.pk}/planner/draft/", {"schedule": word, "dose": 2.1, "words": "Shorter and more often."}
    )
    draft = ours(PrescriptionDraft).get()
    assert (draft.values["days_per_week"], draft.values["minutes"], draft.signed_as) == (5, 180, None)
    assert draft.expected["standard_ktv"] > 1
    assert ours(Prescription).count() == 1
    refused = nurse_client.post(f"/patients/{ana.pk}/planner/draft/", {"schedule": "x", "dose": 2.1}, follow=True)
    assert "outside the planner&#x27;s limits" in refused.content.decode()


def test_a_number_of_treatments_that_no_pattern_has_is_fitted_as_it_was_done(
    nurse_client: Client, ana: Patient
) -> None:
    odd = PrescriptionFactory(patient=ana, version=1, days_per_week=4.5, weekdays=[], minutes=240)
    nights_with_bloods(ana, odd, months=2)
    found = urea_model(course_at(ana, timezone.now()))
    assert (found.fitted, found.pairs) == (True, 2)
    assert nurse_client.get(f"/patients/{ana.pk}/planner/").status_code == 200


def test_days_chosen_by_hand_are_kept_in_the_draft(
    nurse_client: Client, ana: Patient, prescription: Prescription
) -> None:
    for days, kept in (((0, 1, 3), [0, 1, 3]), ((0, 2, 4), [])):
        word = written(candidate(prescription, pattern=pattern_of(3, days)))
        nurse_client.post(f"/patients/{ana.pk}/planner/draft/", {"schedule": word, "dose": 2.1})
        assert ours(PrescriptionDraft).first().values["weekdays"] == kept  # type: ignore[union-attr]


def test_going_back_in_the_browser_gives_the_whole_page(
    nurse_client: Client, ana: Patient, prescription: Prescription
) -> None:
    where = f"/patients/{ana.pk}/planner/"
    part = nurse_client.get(where, headers={"HX-Request": "true"}).content.decode()
    whole = nurse_client.get(where, headers={"HX-Request": "true", "HX-History-Restore-Request": "true"})
    assert "<html" not in part
    assert "<html" in whole.content.decode()


def test_a_draft_keeps_the_headroom_names_its_day_and_says_what_was_expected(
    nurse_client: Client, ana: Patient, prescription: Prescription
) -> None:
    """Four hours with five allowed become seven with eight."""
    nights_with_bloods(ana, prescription, months=2)
    where = f"/patients/{ana.pk}/planner/draft/"
    word = written(candidate(prescription, pattern=pattern_of(5), minutes=420))
    nurse_client.post(where, {"schedule": word, "dose": 2.1, "starts_on": "2031-05-04"})
    kept = ours(PrescriptionDraft).get()
    assert (kept.values["minutes"], kept.values["max_minutes"], kept.values["starts_on"]) == (420, 480, "2031-05-04")
    now = kept.made_at
    told = nights_now(course_at(ana, now), 70)
    wanted = Wanted(2.1, prescription.uf_rate_limit_ml_kg_h, prescription.target_weight_kg)
    one = candidate(prescription, pattern=pattern_of(5), minutes=420)
    assert kept.expected == expect(one, urea_model(course_at(ana, now)), told, wanted).as_json()
    page = " ".join(nurse_client.get(f"/patients/{ana.pk}/prescription/").content.decode().split())
    assert f"<strong>{kept.expected['standard_ktv']:.2f}</strong>" in page
    assert "with nine chances in ten" in page
    assert "An assumed patient" not in page


def test_the_longest_allowed_stays_within_what_a_prescription_can_hold(prescription: Prescription) -> None:
    prescription.max_minutes = 900
    assert values_of(candidate(prescription, minutes=600), prescription)["max_minutes"] == 900


def test_a_draft_of_an_assumed_patient_says_so(nurse_client: Client, ana: Patient, prescription: Prescription) -> None:
    word = written(candidate(prescription, minutes=300))
    nurse_client.post(f"/patients/{ana.pk}/planner/draft/", {"schedule": word, "dose": 2.1})
    assert ours(PrescriptionDraft).get().expected["fitted"] is False
    page = nurse_client.get(f"/patients/{ana.pk}/prescription/").content.decode()
    assert "An assumed patient: not fitted to bloods." in page
    assert "and on published gains of others" in " ".join(page.split())


def test_what_is_expected_of_a_schedule_is_asked_for_where_one_signs(
    nephrologist_client: Client, ana: Patient, prescription: Prescription
) -> None:
    where = f"/patients/{ana.pk}/planner/expected/"
    asked = asked_of(prescription) | {"weekdays": [], "weight": "70", "minutes": 420}
    answer = nephrologist_client.get(where, asked, headers={"HX-Request": "true"})
    expected = answer.context["expected"]
    assert "<html" not in answer.content.decode()
    assert expected["uf_rate"] < nephrologist_client.get(where, asked | {"minutes": 200}).context["expected"]["uf_rate"]
    for changes in ({"minutes": 900}, {"weight": "none"}, {"nights": "4.5"}):
        words = nephrologist_client.get(where, asked | changes).content.decode()
        assert "nothing is expected of it" in words


def test_of_a_first_prescription_nothing_is_expected(nephrologist_client: Client, ana: Patient) -> None:
    words = nephrologist_client.get(f"/patients/{ana.pk}/planner/expected/", {"nights": "3"}).content.decode()
    assert "No prescription is in force yet" in words


def test_the_schedule_in_force_stands_beside_another_and_once_where_it_is_the_same(
    nurse_client: Client, ana: Patient, prescription: Prescription
) -> None:
    where = f"/patients/{ana.pk}/planner/"
    names = [row.name for row in nurse_client.get(where).context["rows"]]
    assert names == ["In force, as tried"]
    names = [row.name for row in nurse_client.get(where, asked_of(prescription) | {"minutes": 300}).context["rows"]]
    assert names == ["This schedule", "In force"]


def test_fewest_hours_have_a_floor_and_do_not_raise_the_phosphate(prescription: Prescription) -> None:
    found = map_of(candidate(prescription, qb_ml_min=400), model(), nights(0.4), weight_kg=70, dose=1.0, uf_rate=20)
    floored = found.least_hours(9, None)
    assert floored is not None
    assert floored.nights * floored.hours >= 9
    worse = np.full(found.good.shape, 1.3)
    worse[-1] = 0.9
    bound = found.least_hours(9, worse)
    assert bound is not None
    assert bound.nights == 7
    assert found.least_hours(9, np.full(found.good.shape, 1.3)) is None


def _now(prescription: Prescription, **changed: Any) -> SolutesNow:
    told = {
        "phosphate": SoluteNow(1.8, 3), "potassium": SoluteNow(5.2, 3), "bath": 2.0, "baths": (2.0, 3.0),
        "weight_kg": 70.0, "model": model(), "kidney": 1.0, "kidney_known": True,
        "usual": candidate(prescription),
    }  # fmt: skip
    return SolutesNow(**(told | changed))


def test_six_short_nights_lower_phosphate_below_two_long_ones(prescription: Prescription) -> None:
    """What hours and flows alone once called less: six of 2 h 45 min beside two of 8 h 30 min."""
    six = candidate(prescription, pattern=pattern_of(6), minutes=165)
    two = candidate(prescription, pattern=pattern_of(2), minutes=510)
    found = {name: solutes_of([each], _now(prescription))[0] for name, each in (("six", six), ("two", two))}
    assert found["six"].phosphate.high < found["two"].phosphate.low
    assert found["six"].potassium[2.0].high < found["two"].potassium[2.0].low


def test_the_schedule_of_now_is_the_level_of_now(prescription: Prescription) -> None:
    now = _now(prescription)
    (same,) = solutes_of([now.usual], now)
    assert (same.phosphate.low, same.phosphate.high) == (pytest.approx(1), pytest.approx(1))
    assert same.in_groups is None
    assert same.potassium[2.0].high == pytest.approx(0, abs=1e-9)
    assert same.potassium[3.0].low > 0.1
    assert isinstance(same.b2m, Reason)
    assert same.b2m.code == "no_b2m_of_dialyser"
    (more,) = solutes_of([candidate(prescription, pattern=pattern_of(5), minutes=480)], now)
    assert more.in_groups is not None
    assert more.phosphate.middle < more.in_groups.middle < 1
    assert more.phosphate.high - more.phosphate.low < more.in_groups.high - more.in_groups.low


def test_the_map_of_phosphate_agrees_with_the_schedule_itself(prescription: Prescription) -> None:
    now, hours = _now(prescription), np.arange(2, 10.01, 1 / 12)
    one = candidate(prescription, pattern=pattern_of(4), minutes=260)
    found = phosphate_map(one, now, hours)
    assert found.shape == (7, hours.size)
    assert found[3, 28] == pytest.approx(solutes_of([one], now)[0].phosphate.middle, rel=0.02)
    assert found[0, 0] > 1.5, "every second short night raises what three times four hours hold"


def test_what_is_not_known_is_said_and_no_level_is_told(
    nurse_client: Client, ana: Patient, prescription: Prescription
) -> None:
    page = nurse_client.get(f"/patients/{ana.pk}/planner/").content.decode()
    assert "Beyond urea" in page
    assert "no level: fewer than 2 results before treatment in the last 90 days" in page
    now = timezone.now()
    for days in (10, 40):
        BloodFactory(patient=ana, analyte="14879-1", value=1.8, drawn_at=now - timedelta(days=days), timing="apart")
        BloodFactory(patient=ana, analyte="2823-3", value=5.2, drawn_at=now - timedelta(days=days), timing="apart")
    Prescription.objects.filter(pk=prescription.pk).update(dialysate_k_mmol_l=2)
    known = nurse_client.get(f"/patients/{ana.pk}/planner/").content.decode()
    assert "now 1.8 by 2 bloods" in known
    assert "Potassium before, change from now, with 3 mmol/L in the dialysate" in known


def test_a_draft_asks_what_a_longer_night_changes_besides(
    nurse_client: Client, ana: Patient, prescription: Prescription
) -> None:
    ordered = {"anticoagulant": "heparin", "bolus_units": 2100, "rate_units_h": None, "max_minutes": 300}
    ordered |= {"dialysate_k_mmol_l": 2, "dialysate_ca_mmol_l": 1.5, "needle_gauge": 15}
    Prescription.objects.filter(pk=prescription.pk).update(**ordered)
    longer = candidate(prescription, pattern=pattern_of(5), minutes=420)
    query = asked_of(prescription) | {"nights": "5", "minutes": 420}
    page = nurse_client.get(f"/patients/{ana.pk}/planner/", query).content.decode()
    assert "one bolus was ordered for 4 h; through 7 h a rate may hold where a bolus does not" in page
    assert "60 min over the new length, for nights that begin late or stop for an alarm" in page
    assert "With so many hours a week phosphate may fall below normal" in page
    where, sent = f"/patients/{ana.pk}/planner/draft/", {"schedule": written(longer), "dose": 2.1}
    answers = {"max_minutes": "450", "bolus_units": "1500", "rate_units_h": "600", "dialysate_k_mmol_l": "3"}
    nurse_client.post(where, sent | answers | {"dialysate_ca_mmol_l": "1.5", "starts_on": "2126-05-01"})
    values = ours(PrescriptionDraft).get().values
    told = {"max_minutes": 450, "bolus_units": 1500, "rate_units_h": 600, "dialysate_k_mmol_l": 3}
    assert {name: values[name] for name in told} == told
    assert "dialysate_ca_mmol_l" not in values
    assert "needle_gauge" not in values
    assert values["starts_on"] == "2126-05-01"
    for wrong, words in (
        ({"max_minutes": "400"}, "The longest allowed must not lie below the length, 420 min; 400 was given."),
        ({"dialysate_k_mmol_l": ""}, "Dialysate potassium: a number is needed"),
        ({"dialysate_k_mmol_l": "9"}, "Dialysate potassium must be between 0 and 5"),
    ):
        refused = nurse_client.post(where, sent | wrong, follow=True)
        assert words in refused.content.decode()
    assert ours(PrescriptionDraft).count() == 1
    nurse_client.post(where, sent | {"bolus_units": ""})
    assert ours(PrescriptionDraft).latest("pk").values["bolus_units"] is None
