"""What cannot be is refused field by field, saying the limit and what was given, and nothing is saved."""

from __future__ import annotations

import json
import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from alerts.models import PendingEvaluation
from sessions.facts.fields import CHECK, EVENT, LISTS, MEDICINE, READING, SITE, TREATMENT
from sessions.facts.ranges import Range
from sessions.models import AccessSite, Patient, TreatmentRecord
from tests.crowd import ours
from tests.factories import A_NIGHT, AccessFactory, SiteFactory, night_body, record_night
from tests.over_http import STANDING, add_readings, faults, put

pytestmark = pytest.mark.django_db

AT = A_NIGHT.isoformat()


def refused(client: Client, body: Any) -> dict[str, dict[str, Any]]:
    """The faults of a body that must be refused, after making sure that nothing was saved."""
    answer = put(client, uuid.uuid4(), body)
    found = faults(answer)
    assert found
    assert not ours(TreatmentRecord).exists()
    assert not ours(PendingEvaluation).exists()
    assert answer.json()["detail"].startswith(f"{len(found)} value")
    return found


def everything(pick: Any, sites: list[AccessSite]) -> dict[str, Any]:
    """A body that gives every number there is, each as `pick` says for its limits."""

    def row(limits: dict[str, Range]) -> dict[str, Any]:
        return {name: pick(each) for name, each in limits.items()}

    return night_body(
        readings=[row(READING) | {"at": AT}],
        checks=[row(CHECK) | {"name": "Total chlorine", "passed": True}],
        events=[row(EVENT) | {"at": AT, "kind": "cramp"}],
        medicines=[row(MEDICINE) | {"at": AT, "name": "Heparin"}],
        sites=[row(SITE) | {"site": sites[0].pk, "use": "arterial"}],
        **row(TREATMENT),
    )


def every_number() -> dict[str, Range]:
    lists = {f"{name}[0].{field}": limits for name, row in LISTS.items() for field, limits in row.items()}
    return TREATMENT | lists


@pytest.mark.parametrize("side", ["low", "high"])
def test_every_impossible_number_is_named_with_its_limits_and_what_was_given(
    ana_client: Client, anas_sites: list[AccessSite], side: str
) -> None:
    def outside(limits: Range) -> float:
        return limits.hard[0] - 1 if side == "low" else limits.hard[1] + 1

    found = refused(ana_client, everything(outside, anas_sites))
    assert set(found) == set(every_number())
    for field, limits in every_number().items():
        low, high = limits.hard
        assert found[field]["given"] == outside(limits), field
        assert f"between {low:g} and {high:g}" in found[field]["message"], field
        assert f"{outside(limits):g} was given" in found[field]["message"], field
        assert found[field]["message"].startswith(limits.label), field


@pytest.mark.parametrize("given", ["abc", "", "72.5", "7_2", "nan", "Infinity", True, False, [], {}, [72]])
@pytest.mark.parametrize("field", ["pre_weight_kg", "readings[0].venous_mmhg", "sites[0].attempts"])
def test_what_is_no_number_is_refused(ana_client: Client, anas_sites: list[AccessSite], field: str, given: Any) -> None:
    body = night_body(readings=[{"at": AT}], sites=[{"site": anas_sites[0].pk, "use": "arterial"}])
    name = field.rpartition(".")[2]
    place = body if name == field else body[field.partition("[")[0]][0]
    place[name] = given
    found = refused(ana_client, body)
    assert set(found) == {field}
    assert found[field].get("given", "left out") == ("left out" if isinstance(given, list | dict) else given)


@pytest.mark.parametrize("literal", ["1e999", "-1e999", "1" + "0" * 400])
@pytest.mark.parametrize("field", ["pre_weight_kg", "blood_processed_l"])
def test_a_number_beyond_all_bounds_is_refused(ana_client: Client, field: str, literal: str) -> None:
    body = json.dumps(night_body() | {field: "HERE"}).replace('"HERE"', literal)
    assert set(refused(ana_client, body)) == {field}


def test_two_needles_that_are_in_at_once_need_two_places(ana_client: Client, anas_sites: list[AccessSite]) -> None:
    one, other = (site.pk for site in anas_sites[:2])
    arterial, venous = {"site": one, "use": "arterial"}, {"site": one, "use": "venous"}
    found = refused(ana_client, night_body(sites=[arterial, venous]))
    words = f"Two needles need two places: {anas_sites[0].name} was given for both, blood out and blood back."
    assert {field: each["message"] for field, each in found.items()} == {"sites[1].site": words}
    moved = [arterial, venous | {"note": "Swelling ⟦given_up⟧"}, venous | {"site": other}]
    assert put(ana_client, uuid.uuid4(), night_body(sites=moved)).status_code == 201, "the first of them is out again"


def test_a_field_that_is_not_known_is_refused_and_not_lost(ana_client: Client) -> None:
    body = night_body(readings=[{"at": AT, "venous": 120}], pre_wieght_kg=72)
    assert set(refused(ana_client, body)) == {"pre_wieght_kg"}
    assert set(refused(ana_client, night_body(readings=[{"at": AT, "venous": 120}]))) == {"readings[0].venous"}


@pytest.mark.parametrize("text", ["\ud800", "a\x00b"])
@pytest.mark.parametrize("name", ["notes", "strange\ud800"])
def test_text_that_cannot_be_kept_is_refused(ana_client: Client, name: str, text: str) -> None:
    found = refused(ana_client, json.dumps(night_body() | {name: text}))
    assert len(found) == 1


@pytest.mark.parametrize("missing", ["status", "started_at"])
def test_state_and_start_are_needed(ana_client: Client, missing: str) -> None:
    body = night_body()
    del body[missing]
    assert set(refused(ana_client, body)) == {missing}


@pytest.mark.parametrize(
    ("part", "row", "missing"),
    [
        ("readings", {}, ["at"]),
        ("events", {"at": AT}, ["kind"]),
        ("medicines", {"at": AT}, ["name"]),
        ("checks", {"name": "Chlorine"}, ["passed"]),
        ("sites", {}, ["site", "use"]),
    ],
)
def test_a_row_says_what_it_is_about(ana_client: Client, part: str, row: dict[str, Any], missing: list[str]) -> None:
    found = refused(ana_client, night_body(**{part: [row]}))
    assert set(found) == {f"{part}[0].{name}" for name in missing}


@pytest.mark.parametrize(("field", "given"), [("status", "done"), ("status", ""), ("status", 1)])
def test_a_state_of_another_name_is_refused(ana_client: Client, field: str, given: Any) -> None:
    assert set(refused(ana_client, night_body(**{field: given}))) == {field}


def test_an_event_of_another_kind_is_refused(ana_client: Client) -> None:
    found = refused(ana_client, night_body(events=[{"at": AT, "kind": "sneeze"}]))
    assert found["events[0].kind"]["given"] == "sneeze"


@pytest.mark.parametrize("given", ["yesterday", "2026-13-01T00:00:00Z", "2026-03-02", 5, {}])
def test_a_start_that_is_no_moment_is_refused(ana_client: Client, given: Any) -> None:
    assert "started_at" in refused(ana_client, night_body(started_at=given, readings=[]))


@pytest.mark.parametrize(
    ("minutes", "words"), [(0, "between 1 and 1440"), (-10, "between 1"), (1441, "between 1 and 1440 min")]
)
def test_a_treatment_ends_after_it_began_and_within_a_day(ana_client: Client, minutes: int, words: str) -> None:
    body = night_body(readings=[], ended_at=(A_NIGHT + timedelta(minutes=minutes)).isoformat())
    found = refused(ana_client, body)
    assert set(found) == {"ended_at"}
    assert words in found["ended_at"]["message"]
    assert f"{minutes} was given" in found["ended_at"]["message"]


def test_a_start_more_than_a_day_ahead_is_refused(ana_client: Client) -> None:
    now = timezone.now()
    found = refused(ana_client, night_body(now + timedelta(hours=25)))
    assert set(found) == {"started_at"}
    assert put(ana_client, uuid.uuid4(), night_body(now + timedelta(hours=23))).status_code == 201


@pytest.mark.parametrize("start", ["0001-01-01T00:00:00Z", "0001-01-01T00:00:00+14:00", "1949-12-31T00:00:00Z"])
def test_a_start_long_before_there_was_dialysis_at_home_is_refused(ana_client: Client, start: str) -> None:
    found = refused(ana_client, {"status": "open", "started_at": start})
    assert set(found) == {"started_at"}


@pytest.mark.parametrize("part", ["readings", "events", "medicines"])
@pytest.mark.parametrize("minutes", [-181, 240 + 181])
def test_a_row_far_outside_the_treatment_is_refused(ana_client: Client, part: str, minutes: int) -> None:
    row = {"at": (A_NIGHT + timedelta(minutes=minutes)).isoformat()}
    row |= {"readings": {}, "events": {"kind": "cramp"}, "medicines": {"name": "Heparin"}}[part]
    found = refused(ana_client, night_body(**{part: [row]}))
    assert set(found) == {f"{part}[0].at"}
    assert "outside this treatment" in found[f"{part}[0].at"]["message"]


@pytest.mark.parametrize("minutes", [-180, 240 + 180])
def test_checks_before_and_bleeding_after_still_belong_to_it(ana_client: Client, minutes: int) -> None:
    at = (A_NIGHT + timedelta(minutes=minutes)).isoformat()
    assert put(ana_client, uuid.uuid4(), night_body(readings=[{"at": at}])).status_code == 201


def test_two_readings_at_one_time_are_refused(ana_client: Client) -> None:
    rows = [{"at": AT, "pulse": 70}, {"at": "2026-03-02T22:30:00+01:00", "pulse": 71}]
    found = refused(ana_client, night_body(readings=rows))
    assert set(found) == {"readings[1].at"}
    assert "Two readings" in found["readings[1].at"]["message"]


def test_two_events_at_one_time_are_not(ana_client: Client) -> None:
    rows = [{"at": AT, "kind": "cramp"}, {"at": AT, "kind": "dizzy"}]
    assert put(ana_client, uuid.uuid4(), night_body(events=rows)).status_code == 201


@pytest.mark.parametrize("when", ["pre", "pre_standing", "post", "post_standing"])
def test_a_diastolic_pressure_lies_below_the_systolic(ana_client: Client, when: str) -> None:
    found = refused(ana_client, night_body(**{f"{when}_systolic": 110, f"{when}_diastolic": 110}))
    assert set(found) == {f"{when}_diastolic"}
    assert "below the systolic 110 mmHg; 110 was given" in found[f"{when}_diastolic"]["message"]


def test_also_in_a_reading(ana_client: Client) -> None:
    rows = [{"at": AT}, {"at": (A_NIGHT + timedelta(hours=1)).isoformat(), "systolic": 90, "diastolic": 95}]
    assert set(refused(ana_client, night_body(readings=rows))) == {"readings[1].diastolic"}


def test_a_site_of_somebody_else_is_refused(ana_client: Client, anas_sites: list[AccessSite], ben: Patient) -> None:
    foreign = SiteFactory(access=AccessFactory(patient=ben))
    rows = [{"site": anas_sites[0].pk, "use": "arterial"}, {"site": foreign.pk, "use": "venous"}]
    assert set(refused(ana_client, night_body(sites=rows))) == {"sites[1].site"}


@pytest.mark.parametrize("given", [10**30, -1, 0, 1.5, "x", None])
def test_a_site_that_is_no_id_is_refused(ana_client: Client, anas_sites: list[AccessSite], given: Any) -> None:
    assert set(refused(ana_client, night_body(sites=[{"site": given, "use": "venous"}]))) == {"sites[0].site"}


def test_lists_have_an_end(ana_client: Client) -> None:
    rows = [{"at": (A_NIGHT + timedelta(seconds=second)).isoformat()} for second in range(501)]
    assert set(refused(ana_client, night_body(readings=rows))) == {"readings"}


WRONG_SHAPES: list[Any] = ["text", {"a": 1}, [None], [[]]]


@pytest.mark.parametrize("given", [*WRONG_SHAPES, [3]])
@pytest.mark.parametrize("part", ["readings", "events", "medicines", "checks", "sites"])
def test_a_list_of_the_wrong_shape_is_refused(ana_client: Client, part: str, given: Any) -> None:
    found = refused(ana_client, night_body(**{part: given}))
    assert all(field.startswith(part) for field in found)


@pytest.mark.parametrize("given", WRONG_SHAPES)
def test_confirmed_is_a_list_of_paths(ana_client: Client, given: Any) -> None:
    assert all(field.startswith("confirmed") for field in refused(ana_client, night_body(confirmed=given)))


def test_several_faults_are_told_at_once(ana_client: Client) -> None:
    body = night_body(pre_weight_kg=7, readings=[{"at": AT, "venous_mmhg": 9999}, {"at": AT, "pulse": 999}])
    assert set(refused(ana_client, body)) == {
        "pre_weight_kg",
        "readings[0].venous_mmhg",
        "readings[1].pulse",
    }


def test_an_impossible_change_leaves_the_record_as_it_stood(ana_client: Client) -> None:
    record_id = uuid.uuid4()
    first = put(ana_client, record_id, night_body()).json()
    assert set(faults(put(ana_client, record_id, night_body(pre_weight_kg=999), STANDING))) == {"pre_weight_kg"}
    assert ours(TreatmentRecord).get().as_sent == first


def test_a_late_reading_is_judged_like_any_other(ana_client: Client) -> None:
    record_id = uuid.uuid4()
    put(ana_client, record_id, night_body(readings=0))
    found = faults(add_readings(ana_client, record_id, {"at": AT}, {"at": AT, "venous_mmhg": 9999}))
    assert set(found) == {"readings[1].venous_mmhg"}
    assert found["readings[1].venous_mmhg"]["given"] == 9999
    assert ours(TreatmentRecord).get().revision == 1


def test_a_record_that_was_handed_over_is_not_opened_again(ana_client: Client, ana: Patient) -> None:
    record = record_night(ana)
    found = faults(put(ana_client, record.pk, night_body(status="open"), if_match=record.etag))
    assert found["status"]["message"] == "This record was handed over: send corrections as finished."
    record.refresh_from_db()
    assert (record.state, record.revision) == ("finished", 1)
