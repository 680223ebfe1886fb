"""The prescription's page: read by all staff, written and signed by the nephrologist, who is asked once more."""

from __future__ import annotations

import re
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.utils import timezone

from homedialysis.accounts.models import Unit, User
from homedialysis.accounts.services.dates import short_day
from sessions.facts.local_day import plain_moment
from sessions.facts.ordered import ORDERED
from sessions.models import Patient, Prescription
from sessions.services.prescribing import prescription_in_force
from sessions.services.prescription_changes import acknowledge
from tests.conftest import signed_in
from tests.factories import PASSWORD, AccessFactory, DialyserFactory, PrescriptionFactory, record_night
from tests.page_text import laid_flat

pytestmark = pytest.mark.django_db


@pytest.fixture
def where(ana: Patient) -> str:
    return f"/patients/{ana.pk}/prescription/"


def sent(**changes: Any) -> dict[str, Any]:
    """What the form sends for a usual prescription."""
    fields = {
        "days_per_week": "3",
        "weekdays": ["0", "2", "4"],
        "minutes": "240",
        "max_minutes": "300",
        "qb_ml_min": "300",
        "qd_ml_min": "500",
        "dialyser": str(DialyserFactory().pk),
        "dialysate_k_mmol_l": "2",
        "dialysate_ca_mmol_l": "1.5",
        "dialysate_buffer": "bicarbonate",
        "dialysate_buffer_mmol_l": "35",
        "dialysate_na_mmol_l": "138",
        "dialysate_temperature_c": "36.5",
        "target_weight_kg": "69.5",
        "uf_rate_limit_ml_kg_h": "10",
        "anticoagulant": "none",
        "reading_interval_minutes": "60",
    }
    return fields | changes


def sign(client: Client, where: str, password: str = PASSWORD, **changes: Any) -> Any:
    """Show what changes, then sign what was shown."""
    fields = sent(**changes)
    shown = client.post(where, fields)
    if shown.status_code != 200 or not shown.context["review"]:
        return shown
    return client.post(where, fields | {"seen": shown.context["review"]["seen"], "password": password})


def test_the_nephrologist_signs_the_next_version(
    nephrologist_client: Client, where: str, ana: Patient, anas_prescription: Prescription
) -> None:
    answer = sign(nephrologist_client, where)
    assert (answer.status_code, answer.headers["Location"]) == (302, f"/patients/{ana.pk}/")
    signed = ana.prescriptions.get(version=2)
    assert (signed.target_weight_kg, signed.weekdays, signed.in_force.upper) == (69.5, [0, 2, 4], None)
    page = nephrologist_client.get(where).content.decode()
    assert "Target weight, kg: 70 → 69.5" in page


def test_the_form_starts_from_what_is_in_force(
    nephrologist_client: Client, where: str, anas_prescription: Prescription
) -> None:
    form = nephrologist_client.get(where).context["form"]
    assert form["target_weight_kg"].value() == 70
    assert form["weekdays"].value() == [0, 2, 4]


def test_nobody_signs_unseen(
    nephrologist_client: Client, where: str, ana: Patient, anas_prescription: Prescription
) -> None:
    fields = sent(target_weight_kg="69", password=PASSWORD)
    shown = nephrologist_client.post(where, fields)
    assert "Target weight, kg: 70 → 69" in shown.content.decode()
    seen = shown.context["review"]["seen"]
    changed = nephrologist_client.post(where, fields | {"target_weight_kg": "68", "seen": seen})
    assert "Target weight, kg: 70 → 68" in changed.content.decode()
    assert ana.prescriptions.count() == 1
    back = nephrologist_client.post(where, fields | {"seen": seen, "back": "1"})
    assert (back.context["review"], back.context["form"]["target_weight_kg"].value()) == (None, "69")
    assert ana.prescriptions.count() == 1


def test_a_wrong_password_signs_nothing_and_loses_nothing(
    nephrologist_client: Client, where: str, ana: Patient, anas_prescription: Prescription
) -> None:
    page = sign(nephrologist_client, where, "not the password", target_weight_kg="69")
    assert "The password is not right. Nothing was signed." in page.content.decode()
    assert page.context["form"]["target_weight_kg"].value() == "69"
    assert ana.prescriptions.count() == 1


def test_what_another_signed_meanwhile_is_shown_before_signing(
    nephrologist_client: Client, where: str, ana: Patient, anas_prescription: Prescription
) -> None:
    fields = sent(target_weight_kg="69")
    seen = nephrologist_client.post(where, fields).context["review"]["seen"]
    assert sign(nephrologist_client, where, target_weight_kg="66").status_code == 302
    page = nephrologist_client.post(where, fields | {"seen": seen, "password": PASSWORD})
    assert "Target weight, kg: 66 → 69" in page.content.decode()
    assert ana.prescriptions.count() == 2


def test_an_unusual_number_is_shown_once_more(nephrologist_client: Client, where: str, ana: Patient) -> None:
    first = nephrologist_client.post(where, sent(target_weight_kg="161", qb_ml_min="100"))
    assert first.context["review"]["unusual"] == [
        "Target weight: 161 kg, usually between 40 and 160 kg",
        "Blood flow rate (Qb): 100 mL/min, usually between 150 and 450 mL/min",
    ]
    assert not ana.prescriptions.exists()
    assert sign(nephrologist_client, where, target_weight_kg="161", qb_ml_min="100").status_code == 302
    assert ana.prescriptions.get().target_weight_kg == 161


@pytest.mark.parametrize(
    ("kind", "gauge", "asked"),
    [
        ("catheter", "15", ["Needle gauge: 15 G, and the access in use is a catheter"]),
        ("catheter", "", []),
        ("fistula", "15", []),
        (None, "15", []),
    ],
)
def test_a_needle_for_a_catheter_is_shown_once_more(
    nephrologist_client: Client, where: str, ana: Patient, kind: str | None, gauge: str, asked: list[str]
) -> None:
    """And kept: it may be meant for a fistula that is used from then on."""
    AccessFactory(patient=ana, kind="catheter", abandoned_on=timezone.localdate())
    if kind:
        AccessFactory(patient=ana, kind=kind)
    assert nephrologist_client.post(where, sent(needle_gauge=gauge)).context["review"]["unusual"] == asked
    assert sign(nephrologist_client, where, needle_gauge=gauge).status_code == 302
    assert ana.prescriptions.get().needle_gauge == (15 if gauge else None)


def test_a_target_weight_far_from_the_one_in_force_is_shown_once_more(
    nephrologist_client: Client, where: str, anas_prescription: Prescription
) -> None:
    """A slip of the hand lies within what is usual for a weight; a step of the target does not reach 3 %."""
    now = anas_prescription.target_weight_kg
    far, near = now - 10, round(now * 0.972, 1)
    asked = nephrologist_client.post(where, sent(target_weight_kg=f"{far:g}")).context["review"]["unusual"]
    assert f"Target weight: {far:g} kg, 10 kg off the {now:g} kg that holds now" in asked
    quiet = nephrologist_client.post(where, sent(target_weight_kg=f"{near:g}")).context["review"]["unusual"]
    assert not [line for line in quiet if "holds now" in line]


def test_a_draft_is_written_into_the_form_and_says_what_it_became(
    nephrologist_client: Client, where: str, ana: Patient, nurse: User, anas_prescription: Prescription
) -> None:
    values = {"days_per_week": 5, "weekdays": [], "minutes": 150}
    draft = ana.drafts.create(values=values, made_by=nurse, made_at=timezone.now(), words="Shorter, more often.")
    page = nephrologist_client.get(f"{where}?draft={draft.pk}")
    assert (page.context["form"]["minutes"].value(), page.context["form"]["weekdays"].value()) == (150, [])
    assert "Shorter, more often." in page.content.decode()
    sign(nephrologist_client, where, draft=str(draft.pk), minutes="150", days_per_week="5", weekdays=[])
    draft.refresh_from_db()
    assert draft.signed_as == ana.prescriptions.get(version=2)
    assert "Shorter, more often." not in nephrologist_client.get(where).content.decode()


def test_a_draft_can_be_put_away(nephrologist_client: Client, where: str, ana: Patient, nurse: User) -> None:
    draft = ana.drafts.create(values={"minutes": 150}, made_by=nurse, made_at=timezone.now(), words="Perhaps.")
    page = nephrologist_client.post(f"{where}drafts/{draft.pk}/drop/", follow=True)
    assert "Perhaps." not in page.content.decode()


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"target_weight_kg": "700"}, "target_weight_kg", "between 20 and 300 kg; 700 was given"),
        ({"dialysate_k_mmol_l": "-1"}, "dialysate_k_mmol_l", "between 0 and 5 mmol/L; -1 was given"),
        ({"max_minutes": "200"}, "max_minutes", "at least the 240 minutes"),
        ({"weekdays": ["0"]}, "weekdays", "1 days are marked, but 3 a week"),
        ({"weekdays": ["7"]}, "weekdays", "7 is not one of the available choices"),
        ({"dialyser": "999"}, "dialyser", "not one of the available choices"),
        ({"minutes": ""}, "minutes", "required"),
        ({"minutes": "nan"}, "minutes", "is not a number"),
        ({"qb_ml_min": "inf"}, "qb_ml_min", "number"),
    ],
)
def test_what_is_impossible_is_refused_at_its_field(
    nephrologist_client: Client, where: str, ana: Patient, changes: dict[str, Any], field: str, words: str
) -> None:
    page = nephrologist_client.post(where, sent(**changes))
    assert page.status_code == 200
    assert words in page.context["form"].errors[field][0]
    assert not ana.prescriptions.exists()


def test_signing_before_one_that_begins_later_is_told_on_the_page(
    nephrologist_client: Client, where: str, ana: Patient
) -> None:
    later = PrescriptionFactory.build().in_force.lower.replace(year=2099)
    PrescriptionFactory(patient=ana, version=1, in_force=(later, None))
    page = sign(nephrologist_client, where)
    assert page.status_code == 200
    assert "Prescription 1 begins on 1 Jan 2099" in page.content.decode()


def test_one_planned_to_end_later_is_told_on_the_page(nephrologist_client: Client, where: str, ana: Patient) -> None:
    begins = PrescriptionFactory.build().in_force.lower
    PrescriptionFactory(patient=ana, version=1, in_force=(begins, begins.replace(year=2099)))
    page = sign(nephrologist_client, where)
    assert page.status_code == 200
    assert "Another prescription is in force for a part of this time." in page.content.decode()
    assert ana.prescriptions.count() == 1


@pytest.mark.parametrize("who", ["nurse", "technologist", "administrator"])
def test_other_staff_read_and_do_not_write(
    who: str, where: str, ana: Patient, anas_prescription: Prescription, request: pytest.FixtureRequest
) -> None:
    user: User = request.getfixturevalue(who)
    client = signed_in(user)
    page = client.get(where)
    assert page.status_code == 200
    assert page.context["form"] is None
    assert "Only a nephrologist" in page.content.decode()
    assert client.post(where, sent()).status_code == 403
    assert ana.prescriptions.count() == 1


@pytest.mark.parametrize("versions", [1, 3])
def test_the_page_asks_a_fixed_number_of_times(
    nephrologist_client: Client,
    where: str,
    ana: Patient,
    versions: int,
    django_assert_max_num_queries: Any,
) -> None:
    for version in range(versions):
        begins = PrescriptionFactory.build().in_force.lower.replace(year=2020 + version)
        ends = None if version == versions - 1 else begins.replace(year=2021 + version)
        PrescriptionFactory(patient=ana, version=version + 1, in_force=(begins, ends))
    with django_assert_max_num_queries(16):
        assert len(nephrologist_client.get(where).context["earlier"]) == versions


def test_what_is_signed_is_shown_whole(
    nephrologist_client: Client, where: str, anas_prescription: Prescription
) -> None:
    """Every field of the form has its line, what is left empty too."""
    page = nephrologist_client.post(where, sent(needle_gauge="", quiet_at_night="on")).content.decode()
    whole = page.split("All of it")[1].split("Your password, to sign")[0]
    lines = [" ".join(line.split()) for line in re.sub("<[^>]+>", "\n", whole).split("\n") if line.strip()]
    shown = dict(pairwise(lines))
    assert {name: shown[name] for name in ("Days", "Longest allowed", "Readings", "Needles")} == {
        "Days": "Monday, Wednesday, Friday",
        "Longest allowed": "5 h",
        "Readings": "10 min after the start, then every 60 min, none from 22:00 to 06:00, while you sleep",
        "Needles": "none",
    }
    assert shown["No readings asked for during sleep"] == "yes"
    assert shown["Stop before the end"] == "none"
    otherwise = ("days_per_week", "note", "reading_interval_minutes")  # the readings are one phrase, looked for above
    said = {each.short_words for name, each in ORDERED.items() if name not in otherwise}
    said = said - {ORDERED["dialysate_buffer"].short_words, ORDERED["dialysate_buffer_mmol_l"].short_words}
    assert said <= set(lines)
    assert "Dialysate bicarbonate" in lines


def test_a_day_to_begin_on_is_chosen_shown_and_kept(
    nephrologist_client: Client, where: str, ana: Patient, anas_prescription: Prescription
) -> None:
    day = timezone.localdate() + timedelta(days=10)
    shown = nephrologist_client.post(where, sent(starts_on=day.isoformat()))
    assert f"Sign, in force from {day:%-d %b %Y}" in " ".join(shown.content.decode().split())
    assert sign(nephrologist_client, where, starts_on=day.isoformat()).status_code == 302
    signed = ana.prescriptions.get(version=2)
    zone = ZoneInfo(Unit.objects.get().time_zone)
    assert signed.in_force.lower == datetime.combine(day, time.min, zone)
    assert signed.signed_at < signed.in_force.lower
    assert prescription_in_force(ana, timezone.now()) == anas_prescription
    assert prescription_in_force(ana, signed.in_force.lower) == signed
    page = nephrologist_client.get(where)
    assert page.context["pending"] == signed
    assert page.context["form"]["target_weight_kg"].value() == 69.5, "the next one goes on from what is signed last"


def test_another_day_than_the_one_shown_is_shown_again(
    nephrologist_client: Client, where: str, ana: Patient, anas_prescription: Prescription
) -> None:
    days = [(timezone.localdate() + timedelta(days=ahead)).isoformat() for ahead in (3, 30)]
    seen = nephrologist_client.post(where, sent(starts_on=days[0])).context["review"]["seen"]
    nephrologist_client.post(where, sent(starts_on=days[1], seen=seen, password=PASSWORD))
    assert ana.prescriptions.count() == 1


@pytest.mark.parametrize("ahead", [-1, 93])
def test_a_day_in_the_past_or_far_ahead_is_refused(
    nephrologist_client: Client, where: str, ana: Patient, ahead: int
) -> None:
    day = timezone.localdate() + timedelta(days=ahead)
    page = nephrologist_client.post(where, sent(starts_on=day.isoformat()))
    assert f"{short_day(day)} was given" in page.context["form"].errors["starts_on"][0]
    assert page.context["review"] is None


def test_today_means_at_once(nephrologist_client: Client, where: str, ana: Patient) -> None:
    assert sign(nephrologist_client, where, starts_on=timezone.localdate().isoformat()).status_code == 302
    signed = ana.prescriptions.get()
    assert signed.in_force.lower == signed.signed_at


@pytest.mark.parametrize(("began", "ended", "told"), [(2, None, True), (30, None, False), (6, 1, False)])
def test_a_treatment_under_way_is_told_before_and_after_signing(
    nephrologist_client: Client, where: str, ana: Patient, anas_prescription: Prescription, began: int,
    ended: int | None, told: bool,
) -> None:  # fmt: skip
    now = timezone.now()
    over = None if ended is None else (now - timedelta(hours=ended)).isoformat()
    record_night(ana, now - timedelta(hours=began), at=now, readings=[], status="open", ended_at=over)
    before = laid_flat(nephrologist_client.post(where, sent()).content.decode())
    assert ("A treatment is under way" in before) is told
    tomorrow = (timezone.localdate() + timedelta(days=1)).isoformat()
    later = nephrologist_client.post(where, sent(starts_on=tomorrow)).content.decode()
    assert "under way" not in later, "the one of tomorrow is not for it"
    sign(nephrologist_client, where)
    after = laid_flat(nephrologist_client.get(f"/patients/{ana.pk}/").content.decode())
    assert ("The treatment under way, begun" in after) is told


def test_one_that_has_not_begun_can_be_taken_back_by_a_nephrologist(
    nephrologist_client: Client, nurse_client: Client, where: str, ana: Patient, anas_prescription: Prescription
) -> None:
    day = timezone.localdate() + timedelta(days=5)
    sign(nephrologist_client, where, starts_on=day.isoformat())
    assert nurse_client.post(f"{where}2/take-back/").status_code == 403
    page = nephrologist_client.post(f"{where}2/take-back/", follow=True).content.decode()
    assert "Prescription 2 is taken back." in page
    assert ana.prescriptions.get().in_force.upper is None, "the one before holds on"
    refused = nephrologist_client.post(f"{where}1/take-back/", follow=True).content.decode()
    assert "only before it begins" in refused


def test_what_another_schedule_leaves_as_ordered_is_named_where_one_signs(
    nephrologist_client: Client, where: str, ana: Patient, anas_prescription: Prescription
) -> None:
    kept = {
        each.line.label: each.why
        for each in nephrologist_client.post(
            where, sent(minutes="420", max_minutes="480", target_weight_kg="70", anticoagulant="heparin")
        ).context["review"]["kept"]
    }
    assert kept["Dialysate potassium"] == "ordered for 12 h a week; the new schedule has 21 h"
    assert kept["Target weight"] == "the fluid of a treatment and its hours change; this does not"
    assert kept["Readings"] == "ordered for 4 h a treatment; the new length is 7 h"
    assert "Longest allowed" not in kept, "it was changed"
    same = nephrologist_client.post(where, sent(target_weight_kg="70"))
    assert same.context["review"]["kept"] == []


def test_each_line_that_changes_says_how_it_stood(
    nephrologist_client: Client, where: str, anas_prescription: Prescription
) -> None:
    given = sent(minutes="300", max_minutes="360", quiet_at_night="on", stop_minutes_before_end="30")
    page = nephrologist_client.post(where, given).content.decode().split("All of it")[1]
    whole = " ".join(re.sub("<[^>]+>", " ", page.split("Your password, to sign")[0]).split())
    for words in ("5:00 h was 4:00 h", "6 h was 5 h", "yes was no", "30 min was none"):
        assert words in whole, words


def test_staff_see_who_read_a_change_and_when(
    nurse_client: Client, where: str, ana: Patient, anas_prescription: Prescription
) -> None:
    assert "Nobody has said" not in laid_flat(nurse_client.get(where)), "the first changes nothing"
    Prescription.objects.filter(pk=anas_prescription.pk).update(version=2)
    unread, own = "Nobody has said at the bedside that it was read.", f"/patients/{ana.pk}/"
    assert all(unread in laid_flat(nurse_client.get(page)) for page in (where, own))
    at = datetime(2026, 3, 4, 21, 15, tzinfo=UTC)
    assert ana.account
    acknowledge(prescription=anas_prescription, by=ana.account, at=at, now=at)
    for page in (where, own):
        assert f"Read by {ana.account} on {plain_moment(at)}." in laid_flat(nurse_client.get(page))
