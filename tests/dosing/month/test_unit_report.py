"""The quality meeting's report against sums done by hand and SciPy; and the page on which its facts are noted."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np
import pytest
from django.test import Client
from django.utils import timezone
from scipy import stats

from dosing.models import PatientMonth
from dosing.services.month.unit_report import unit_report
from homedialysis.accounts.models import User
from sessions.models import AccessInfection, AccessSite, HospitalStay, Patient, SiteUsed
from tests.crowd import ours
from tests.factories import AccessFactory, PatientFactory, record_night

pytestmark = pytest.mark.django_db
MARCH = date(2026, 3, 1)
END = date(2026, 4, 1)
TODAY = date(2026, 5, 4)


def _keep(patient: Patient, month: date, numbers: dict[str, Any]) -> None:
    """In the place of the empty row that a stay may have made."""
    kept = {"numbers": numbers, "computed_at": timezone.now(), "stale": False}
    PatientMonth.objects.update_or_create(patient=patient, month=month, defaults=kept)


def person(joined: date, left: date | None = None, why: str = "") -> Patient:
    found: Patient = PatientFactory(joined_on=joined, left_on=left, left_reason=why)
    return found


def test_infections_per_thousand_access_days_with_the_exact_interval(nurse: User, unit: object) -> None:
    one = person(date(2025, 1, 1))
    fistula = AccessFactory(patient=one, kind="fistula", created_on=date(2025, 6, 1))
    two = person(date(2025, 12, 1), date(2026, 2, 28), "centre")
    AccessFactory(patient=two, kind="catheter", created_on=date(2025, 11, 1))
    for day in (date(2025, 9, 1), date(2026, 1, 7), date(2024, 1, 1)):
        AccessInfection.objects.create(
            access=fistula, kind="site", began_on=day, entered_by=nurse, entered_at=timezone.now()
        )
    everything, fistulas, grafts, catheters, *needled = unit_report(MARCH, today=TODAY).infections
    days = (END - date(2025, 6, 1)).days
    assert (fistulas.events, fistulas.days) == (2, days)
    assert (catheters.events, catheters.days) == (0, (date(2026, 3, 1) - date(2025, 12, 1)).days)
    assert grafts.days == 0
    assert everything.days == fistulas.days + catheters.days
    assert [(each.events, each.days) for each in needled] == [(0, 0), (0, 0), (2, days)], "no treatment says how"
    assert fistulas.per_months.rate.number == pytest.approx(100 * 2 / (days / 365.25 * 12))
    exact = stats.chi2.ppf([0.025, 0.975], [4, 6]) / 2 * 1000 / days
    assert [fistulas.rate.low.number, fistulas.rate.high.number] == pytest.approx(list(exact))


LENGTHS = [
    (200, "centre"),
    (400, "transplant"),
    (500, "centre"),
    (900, ""),
    (1200, "died"),
    (1500, "moved"),
    (2000, ""),
]


def followed() -> None:
    """People with these days in the programme, each with a way out or none."""
    for days, why in LENGTHS:
        joined = END - timedelta(days=days + (100 if why else 0))
        person(joined, joined + timedelta(days=days) if why else None, why)


def test_ways_out_compete_and_who_moves_is_followed_up_to_then(unit: object) -> None:
    followed()
    found = unit_report(MARCH, today=TODAY).at_years
    times = np.array([days for days, _ in LENGTHS], dtype=float)
    out = np.array([why in ("centre", "transplant", "died") for _, why in LENGTHS])
    theirs = stats.ecdf(stats.CensoredData(uncensored=times[out], right=times[~out])).sf
    home = [each.home.share.number for each in found]
    assert home == pytest.approx([float(theirs.evaluate(years * 365.25)) for years in (1, 2, 3, 5)])
    for each in found:
        assert each.home.share.number == pytest.approx(1 - sum(way.share.number or 0.0 for way in each.ways))
    assert [each.at_risk for each in found] == [6, 4, 3, 1]
    assert [way.share.number for way in found[1].ways] == pytest.approx([2 / 7, 0, 1 / 7, 0])


def test_the_last_way_out_is_shown_where_nobody_is_followed_longer(unit: object) -> None:
    """Gone at 756 days, the longest: at two years all are at home, at 2.1 nobody."""
    joined = END - timedelta(days=900)
    person(joined, joined + timedelta(days=756), "centre")
    rows = [(round(each.years, 1), each.at_risk, each.ways[0].share.number) for each in
            unit_report(MARCH, today=TODAY).at_years]  # fmt: skip
    assert rows == [(1, 1, 0.0), (2, 1, 0.0), (2.1, 1, 1.0), (3, 0, None), (5, 0, None)]


def test_few_without_an_event_never_look_sure(unit: object) -> None:
    """Eight followed for a year, nobody went: up to 37 in 100 may (1 - 0.025^(1/8))."""
    for _ in range(8):
        person(END - timedelta(days=400))
    year = unit_report(MARCH, today=TODAY).at_years[0]
    assert year.home.share.number == 1
    assert year.home.low.number == pytest.approx(0.025 ** (1 / 8))
    assert year.ways[0].high.number == pytest.approx(1 - 0.025 ** (1 / 8))


def test_nothing_is_said_of_times_that_nobody_was_followed_for(unit: object) -> None:
    person(END - timedelta(days=800))
    found = unit_report(MARCH, today=TODAY).at_years
    assert [each.home.share.number for each in found] == [1.0, 1.0, None, None]
    assert [each.ways[0].share.number for each in found] == [0.0, 0.0, None, None]


def test_an_extra_treatment_makes_up_for_no_missed_one(unit: object) -> None:
    one, two = person(date(2025, 1, 1)), person(date(2025, 1, 1))
    for patient, done in ((one, 15), (two, 9)):
        _keep(patient, MARCH, {"nights": {"inputs": {"delivered": done, "prescribed": 12.0}}})
    PatientMonth.objects.filter(patient=one).update(delivered={"missing": ["2026-03-04"], "left_out": []})
    report = unit_report(MARCH, today=TODAY)
    assert (report.nights.done, report.nights.missed) == (24, 4)
    assert report.behind["missed"] == {one.pk: "1 missed", two.pk: "3 missed"}


def test_infections_and_days_go_to_the_way_of_needling(nurse: User, ana: Patient) -> None:
    access = AccessFactory(patient=ana, kind="fistula", created_on=date(2025, 1, 1))
    sites = {
        way: AccessSite.objects.create(access=access, name=way, use="arterial", technique=way)
        for way in ("rope_ladder", "buttonhole")
    }
    for night, way in ((date(2025, 5, 1), "rope_ladder"), (date(2025, 10, 1), "buttonhole")):
        record = record_night(ana, datetime.combine(night, time(20), UTC))
        SiteUsed.objects.create(record=record, site=sites[way], use="arterial")
    AccessInfection.objects.create(
        access=access, kind="site", began_on=date(2025, 11, 3), entered_by=nurse, entered_at=timezone.now()
    )
    rows = {each.key: each for each in unit_report(MARCH, today=TODAY).infections}
    ladder, holes = rows["needled_rope_ladder"], rows["needled_buttonhole"]
    assert (ladder.events, ladder.days) == (0, (date(2025, 10, 1) - date(2025, 4, 1)).days)
    assert (holes.events, holes.days) == (1, (END - date(2025, 10, 1)).days)
    assert ladder.days + holes.days == rows["fistula"].days


def test_each_figure_leads_to_its_patients(nurse_client: Client, ana: Patient, nurse: User) -> None:
    noted_infection(ana, nurse)
    HospitalStay.objects.create(patient=ana, admitted_on=date(2026, 3, 3), entered_by=nurse, entered_at=timezone.now())
    page = nurse_client.get("/months/2026-03/unit/").content.decode()
    for figure in re.findall(r'href="(/months/2026-03/unit/[^"]+)"', page):
        assert nurse_client.get(figure).status_code == 200, figure
    for figure in ("all", "fistula", "needling_not_noted", "hospital"):
        assert ana.name in nurse_client.get(f"/months/2026-03/unit/{figure}/").content.decode(), figure
    assert "Nobody." in nurse_client.get("/months/2026-03/unit/graft/").content.decode()
    assert nurse_client.get("/months/2026-03/unit/nothing/").status_code == 404


def test_the_running_month_counts_to_today(unit: object) -> None:
    person(date(2026, 3, 1))
    assert unit_report(MARCH, today=date(2026, 3, 10)).patient_days == 10


def test_hospital_days_and_missed_nights(nurse: User, unit: object) -> None:
    one, two = person(date(2026, 1, 1)), person(date(2026, 3, 22))
    entered = {"entered_by": nurse, "entered_at": timezone.now()}
    HospitalStay.objects.create(patient=one, admitted_on=date(2026, 2, 27), discharged_on=date(2026, 3, 2), **entered)
    HospitalStay.objects.create(patient=two, admitted_on=date(2026, 3, 30), **entered)
    numbers = {"nights": {"inputs": {"delivered": 9, "prescribed": 12.0}}}
    _keep(one, MARCH, numbers)
    report = unit_report(MARCH, today=TODAY)
    assert (report.hospital_days, report.hospital_patients) == (4 + 2, 2)
    assert report.patient_days == 90 + 10
    assert (report.nights_done, report.missed_share) == (9, pytest.approx(0.25))


def test_five_patients_counted_by_hand(nurse: User, unit: object) -> None:
    """April 2025 to March 2026, 365 days: who was there in March, who left and why, and everybody's days."""
    there = person(date(2025, 3, 1))
    person(date(2026, 3, 30))
    back = person(date(2025, 1, 1), date(2026, 3, 1), "centre")
    person(date(2025, 12, 31), date(2026, 1, 9), "transplant")
    person(date(2024, 1, 1), date(2025, 4, 1), "transplant")
    person(date(2024, 1, 1), date(2025, 3, 31), "died")
    person(date(2026, 4, 1))
    report = unit_report(MARCH, today=TODAY)
    assert report.patients == 3, "still there, just come, and gone on the month's first day"
    assert report.left == {"back to dialysis in a centre": 1, "transplanted": 2}
    assert report.patient_days == 365 + 2 + 335 + 10 + 1
    entered = {"entered_by": nurse, "entered_at": timezone.now()}
    HospitalStay.objects.create(patient=there, admitted_on=date(2026, 4, 1), **entered)
    HospitalStay.objects.create(patient=back, admitted_on=date(2025, 3, 1), discharged_on=date(2025, 3, 31), **entered)
    stays = unit_report(MARCH, today=TODAY)
    assert (stays.hospital_days, stays.hospital_patients) == (0, 0), "one began after the span, one ended before it"
    HospitalStay.objects.create(patient=back, admitted_on=date(2025, 3, 2), discharged_on=date(2025, 4, 1), **entered)
    stays = unit_report(MARCH, today=TODAY)
    assert (stays.hospital_days, stays.hospital_patients) == (1, 1)


def test_nights_of_other_spans_are_not_counted(unit: object) -> None:
    one = person(date(2024, 1, 1))
    for month, done in ((date(2025, 3, 1), 100), (date(2025, 4, 1), 9), (MARCH, 11), (date(2026, 4, 1), 1000)):
        numbers = {"nights": {"inputs": {"delivered": done, "prescribed": 12.5}}}
        _keep(one, month, numbers)
    report = unit_report(MARCH, today=TODAY)
    assert (report.nights_done, report.nights.prescribed) == (20, 25)


def test_shares_are_of_those_of_whom_the_number_is_known(unit: object) -> None:
    for value in (5.0, 6.2, None):
        numbers = {"potassium": {"value": value}}
        someone = person(date(2025, 1, 1))
        _keep(someone, MARCH, numbers)
    potassium = next(share for share in unit_report(MARCH, today=TODAY).shares if share.number.key == "potassium")
    assert (potassium.within, potassium.known, potassium.patients, potassium.percent) == (1, 2, 3, 50)


def test_an_empty_unit_says_unknown_and_does_not_fall_over(nurse_client: Client) -> None:
    page = nurse_client.get("/months/2026-03/unit/").content.decode()
    assert "unknown" in page
    assert nurse_client.get("/months/2999-01/unit/").status_code == 404


def test_facts_are_noted_once_and_refused_with_words(nurse_client: Client, ana: Patient) -> None:
    access = AccessFactory(patient=ana)
    where = f"/patients/{ana.pk}/outcomes/"
    infection = {"what": "infection", "infection-access": access.pk, "infection-kind": "site"}
    infection |= {"infection-began_on": "2026-03-02", "infection-words": "pus"}
    assert "pus" in nurse_client.post(where, infection, follow=True).content.decode()
    assert "This infection is entered already." in nurse_client.post(where, infection).content.decode()
    stay = {
        "what": "stay",
        "stay-kind": "hospital",
        "stay-admitted_on": "2026-03-05",
        "stay-discharged_on": "2026-03-01",
    }
    assert "The last day must not lie before the first." in nurse_client.post(where, stay).content.decode()
    nurse_client.post(where, {"what": "leave", "leave-left_on": "2026-03-09", "leave-left_reason": "transplant"})
    ana.refresh_from_db()
    assert (ana.left_on, ana.left_reason) == (date(2026, 3, 9), "transplant")


def test_another_patients_access_cannot_be_named(nurse_client: Client, ana: Patient, ben: Patient) -> None:
    infection = {"what": "infection", "infection-access": AccessFactory(patient=ben).pk, "infection-kind": "site"}
    nurse_client.post(f"/patients/{ana.pk}/outcomes/", infection | {"infection-began_on": "2026-03-02"})
    assert not ours(AccessInfection).exists()


def test_a_stay_that_goes_on_is_ended_on_the_same_form(nurse_client: Client, ana: Patient) -> None:
    where = f"/patients/{ana.pk}/outcomes/"
    nurse_client.post(where, {"what": "stay", "stay-kind": "hospital", "stay-admitted_on": "2026-03-05"})
    assert "Note the end" in nurse_client.get(where).content.decode()
    nurse_client.post(
        where,
        {"what": "stay", "stay-kind": "hospital", "stay-admitted_on": "2026-03-05", "stay-discharged_on": "2026-03-08"},
    )
    assert ours(HospitalStay).get().discharged_on == date(2026, 3, 8)


def test_days_that_cannot_be_are_refused_with_what_was_given(nurse_client: Client, ana: Patient) -> None:
    access, where = AccessFactory(patient=ana), f"/patients/{ana.pk}/outcomes/"
    infection = {"what": "infection", "infection-access": access.pk, "infection-kind": "site"}
    early = nurse_client.post(where, infection | {"infection-began_on": "2020-01-01"}).content.decode()
    assert "The access was made on 1 Jun 2024; 1 Jan 2020 was given." in early
    ahead = nurse_client.post(
        where, {"what": "stay", "stay-kind": "hospital", "stay-admitted_on": "2999-01-01"}
    ).content.decode()
    assert "1 Jan 2999 was given." in ahead
    leave = {"what": "leave", "leave-left_on": "2024-01-01", "leave-left_reason": "moved"}
    assert "In the programme since 1 Jan 2025" in nurse_client.post(where, leave).content.decode()
    assert "Say why" in nurse_client.post(where, leave | {"leave-left_reason": ""}).content.decode()
    assert not ours(AccessInfection).exists()
    assert not ours(HospitalStay).exists()


def test_who_left_by_mistake_is_taken_back(nurse_client: Client, ana: Patient) -> None:
    where = f"/patients/{ana.pk}/outcomes/"
    nurse_client.post(where, {"what": "leave", "leave-left_on": "2026-03-09", "leave-left_reason": "moved"})
    nurse_client.post(where, {"what": "leave", "leave-left_on": "", "leave-left_reason": ""})
    ana.refresh_from_db()
    assert (ana.left_on, ana.left_reason) == (None, "")


def noted_infection(patient: Patient, by: User) -> AccessInfection:
    access = AccessFactory(patient=patient, kind="fistula", created_on=date(2025, 6, 1))
    found: AccessInfection = AccessInfection.objects.create(
        access=access, kind="site", began_on=date(2026, 3, 2), entered_by=by, entered_at=timezone.now()
    )
    return found


def counted() -> int:
    return unit_report(MARCH, today=TODAY).infections[0].events


def test_an_infection_is_put_right_and_the_rate_follows(nurse_client: Client, nephrologist: User, ana: Patient) -> None:
    wrong = noted_infection(ana, nephrologist)
    where = f"/patients/{ana.pk}/outcomes/infection/{wrong.pk}/"
    sent = {"infection-access": wrong.access_id, "infection-kind": "bloodstream", "infection-words": "in one culture"}
    assert counted() == 1
    assert nurse_client.post(where, sent | {"infection-began_on": "2024-05-01"}).status_code == 200, "before the access"
    assert nurse_client.post(where, sent | {"infection-began_on": "2026-04-02"}).status_code == 302
    wrong.refresh_from_db()
    assert (wrong.kind, wrong.began_on, wrong.entered_by.role) == ("bloodstream", date(2026, 4, 2), "nurse")
    assert counted() == 0, "it began after March now"
    before, after = wrong.events.order_by("pgh_id")  # type: ignore[attr-defined]
    assert (before.kind, before.entered_by, after.kind) == ("site", nephrologist, "bloodstream")


def test_an_infection_is_taken_back_with_a_reason_and_may_be_noted_anew(
    nurse_client: Client, nurse: User, nephrologist: User, ana: Patient
) -> None:
    wrong = noted_infection(ana, nephrologist)
    where = f"/patients/{ana.pk}/outcomes/"
    here = f"{where}infection/{wrong.pk}/"
    refused = nurse_client.post(here, {"task": "take back", "why": " "}, follow=True)
    assert "Say why it is taken back." in refused.content.decode()
    assert counted() == 1
    page = nurse_client.post(here, {"task": "take back", "why": "It was Ben's."}, follow=True).content.decode()
    assert "It was Ben&#x27;s." in page
    assert counted() == 0
    last = wrong.events.latest("pgh_id")  # type: ignore[attr-defined]
    assert (last.taken_back, last.entered_by, last.began_on) == ("It was Ben's.", nurse, date(2026, 3, 2))
    assert nurse_client.get(here).status_code == 404
    again = {"what": "infection", "infection-access": wrong.access_id, "infection-kind": "site"}
    nurse_client.post(where, again | {"infection-began_on": "2026-03-02"})
    assert counted() == 1


def test_a_stay_is_taken_back_and_its_days_with_it(nurse_client: Client, nurse: User, ana: Patient) -> None:
    stay = HospitalStay.objects.create(
        patient=ana, admitted_on=date(2026, 3, 3), discharged_on=date(2026, 3, 5), entered_by=nurse,
        entered_at=timezone.now(),
    )  # fmt: skip
    assert unit_report(MARCH, today=TODAY).hospital_days == 3
    nurse_client.post(f"/patients/{ana.pk}/outcomes/stay/{stay.pk}/", {"task": "take back", "why": "Only a visit."})
    assert unit_report(MARCH, today=TODAY).hospital_days == 0


def test_the_same_stay_twice_is_refused_with_words(nurse_client: Client, ana: Patient) -> None:
    where = f"/patients/{ana.pk}/outcomes/"
    sent = {
        "what": "stay",
        "stay-kind": "hospital",
        "stay-admitted_on": "2026-03-05",
        "stay-discharged_on": "2026-03-08",
    }
    nurse_client.post(where, sent)
    assert "A stay from this day is entered already." in nurse_client.post(where, sent).content.decode()
    assert ours(HospitalStay).count() == 1


def test_another_patients_entry_is_not_there(nurse_client: Client, nurse: User, ana: Patient, ben: Patient) -> None:
    bens = noted_infection(ben, nurse)
    for what in ("infection", "stay", "leave"):
        assert nurse_client.get(f"/patients/{ana.pk}/outcomes/{what}/{bens.pk}/").status_code == 404
