"""The page of a patient's vascular access: one in use at a time, its sites, and rest for a site."""

from __future__ import annotations

import re
import uuid
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone

from sessions.models import AccessSite, Patient, VascularAccess
from sessions.pages.forms import limb_of
from sessions.pages.limbs import OUTLINES, touched
from tests.crowd import ours
from tests.factories import AccessFactory, SiteFactory, night_body, record_night
from tests.over_http import STANDING, put
from tests.page_text import laid_flat

pytestmark = pytest.mark.django_db

FISTULA = {"task": "access", "kind": "fistula", "side": "left", "place": "forearm", "created_on": "2024-06-01"}
SITE = {"task": "site", "name": "Lower", "use": "arterial", "technique": "buttonhole"}


@pytest.fixture
def where(ana: Patient) -> str:
    return f"/patients/{ana.pk}/access/"


def test_an_access_is_noted_with_its_sites(nurse_client: Client, where: str, ana: Patient) -> None:
    assert nurse_client.post(where, FISTULA).status_code == 302
    assert nurse_client.post(where, SITE).status_code == 302
    access = ana.accesses.get()
    assert (str(access), access.created_on) == ("left forearm fistula", date(2024, 6, 1))
    site = access.sites.get()
    assert (site.name, site.use, site.technique, site.resting) == ("Lower", "arterial", "buttonhole", False)
    page = laid_flat(nurse_client.get(where))
    assert "In use: left forearm fistula" in page
    assert "Lower: arterial (blood out), buttonhole" in page


def test_a_second_access_waits_until_the_first_is_given_up(nurse_client: Client, where: str, ana: Patient) -> None:
    nurse_client.post(where, FISTULA)
    page = nurse_client.post(where, FISTULA | {"kind": "graft"})
    assert page.status_code == 200
    assert "is in use: give that one up first" in page.content.decode()
    assert nurse_client.post(where, {"task": "give up"}).status_code == 302
    assert ana.accesses.get().abandoned_on == timezone.localdate()
    assert nurse_client.post(where, FISTULA | {"kind": "graft"}).status_code == 302
    assert [each.kind for each in ana.accesses.order_by("pk")] == ["fistula", "graft"]
    assert "left forearm fistula, 1 Jun 2024 to" in nurse_client.get(where).content.decode()


def test_the_database_holds_one_in_use(ana: Patient) -> None:
    AccessFactory(patient=ana)
    with pytest.raises(IntegrityError, match="access_one_in_use"), transaction.atomic():
        AccessFactory(patient=ana)


@pytest.mark.parametrize(
    "fault", [{"kind": "pipe"}, {"side": ""}, {"place": ""}, {"created_on": "soon"}, {"created_on": ""}]
)
def test_an_access_needs_its_facts(nurse_client: Client, where: str, ana: Patient, fault: dict[str, str]) -> None:
    page = nurse_client.post(where, FISTULA | fault)
    assert page.status_code == 200
    assert set(page.context["new_access"].errors) == set(fault)
    assert not ana.accesses.exists()


def test_a_site_has_a_name_of_its_own(nurse_client: Client, where: str, ana: Patient) -> None:
    nurse_client.post(where, FISTULA)
    nurse_client.post(where, SITE)
    page = nurse_client.post(where, SITE | {"use": "venous"})
    assert page.status_code == 200
    assert "already has a site called “Lower”" in page.content.decode()
    assert ana.accesses.get().sites.count() == 1


def test_a_site_without_an_access_is_not_kept(nurse_client: Client, where: str) -> None:
    assert nurse_client.post(where, SITE).status_code == 200
    assert not ours(AccessSite).exists()


def test_a_site_rests_and_comes_back(nurse_client: Client, where: str, anas_sites: list[AccessSite]) -> None:
    site = anas_sites[0]
    for resting in (True, False):
        assert nurse_client.post(where, {"task": "rest", "site": site.pk}).status_code == 302
        site.refresh_from_db()
        assert site.resting is resting


@pytest.mark.parametrize("given", ["", "abc", "9" * 30, "-1"])
def test_a_site_that_is_not_there_is_404(
    nurse_client: Client, where: str, anas_sites: list[AccessSite], given: str
) -> None:
    assert nurse_client.post(where, {"task": "rest", "site": given}).status_code == 404


def test_a_site_of_another_patient_is_404(
    nurse_client: Client, where: str, anas_sites: list[AccessSite], ben: Patient
) -> None:
    foreign = SiteFactory(access=AccessFactory(patient=ben))
    assert nurse_client.post(where, {"task": "rest", "site": foreign.pk}).status_code == 404
    foreign.refresh_from_db()
    assert not foreign.resting


@pytest.mark.parametrize("task", ["", "give up", "rest", "something"])
def test_a_task_that_makes_no_sense_changes_nothing(nurse_client: Client, where: str, ana: Patient, task: str) -> None:
    assert nurse_client.post(where, {"task": task}).status_code == 200
    assert not ours(VascularAccess).exists()


def test_sites_of_an_access_given_up_stay_in_old_records(
    nurse_client: Client, ana_client: Client, where: str, anas_sites: list[AccessSite]
) -> None:
    rows = [{"site": anas_sites[0].pk, "use": "arterial"}]
    record_id = uuid.uuid4()
    assert put(ana_client, record_id, night_body(sites=rows)).status_code == 201
    nurse_client.post(where, {"task": "give up"})
    again: Any = put(ana_client, record_id, night_body(sites=rows, notes="Corrected."), STANDING)
    assert again.status_code == 200


@pytest.mark.parametrize(
    ("kind", "place", "limb"),
    [
        ("fistula", "forearm", "forearm"),
        ("graft", "Upper arm, loop", "upper_arm"),
        ("fistula", "elbow", "upper_arm"),
        ("graft", "thigh", "thigh"),
        ("catheter", "neck, tunnelled", "neck_chest"),
        ("catheter", "groin", "thigh"),
    ],
)
def test_the_picture_goes_with_the_place_unless_it_is_chosen(
    nurse_client: Client, where: str, ana: Patient, kind: str, place: str, limb: str
) -> None:
    assert limb_of(kind, place) == limb
    nurse_client.post(where, FISTULA | {"kind": kind, "place": place})
    assert ana.accesses.get().limb == limb
    answer = nurse_client.post(where, {"task": "drawn", "drawn-limb": "thigh", "drawn-flow": "down"})
    assert answer.status_code == 302
    access = ana.accesses.get()
    assert (access.limb, access.flow) == ("thigh", "down")
    assert nurse_client.post(where, {"task": "drawn", "drawn-limb": "wing", "drawn-flow": "up"}).status_code == 200
    assert ana.accesses.get().limb == "thigh"


def test_a_site_is_put_where_the_drawing_is_touched(
    nurse_client: Client, where: str, anas_sites: list[AccessSite]
) -> None:
    site = anas_sites[0]
    page = nurse_client.get(f"{where}?site={site.pk}").content.decode()
    assert f'alt="Put {site.name} where the drawing is touched"' in page
    answer = nurse_client.post(where, {"task": "touch", "site": site.pk, "spot.x": "120", "spot.y": "66"})
    assert (answer.status_code, answer.headers["Location"]) == (302, f"{where}?site={site.pk}#site")
    site.refresh_from_db()
    assert (site.x, site.y) == (0.5, 0.2)
    assert "<circle" in nurse_client.get(where).content.decode()


@pytest.mark.parametrize("spot", [("0", "0"), ("241", "5"), ("5", "331"), ("", ""), ("-1", "4"), ("x", "y")])
def test_a_touch_beside_the_drawing_moves_nothing(
    nurse_client: Client, where: str, anas_sites: list[AccessSite], spot: tuple[str, str]
) -> None:
    """0 and 0 is what a button pressed by key sends."""
    assert touched(*spot) is None
    answer = nurse_client.post(where, {"task": "touch", "site": anas_sites[0].pk, "spot.x": spot[0], "spot.y": spot[1]})
    assert "That was no place on the drawing" in answer.content.decode()
    assert ours(AccessSite).filter(x=None).count() == 2


def change(site: AccessSite, **fields: Any) -> dict[str, Any]:
    given = {"name": site.name, "technique": site.technique} | fields
    return {"task": "change", "site": site.pk} | {f"change-{name}": value for name, value in given.items()}


def test_a_site_is_changed_by_numbers(nurse_client: Client, where: str, anas_sites: list[AccessSite]) -> None:
    site = anas_sites[0]
    sent = change(site, name="Near the wrist", x="0.42", y="0.8", rest_until="2026-12-24")
    assert nurse_client.post(where, sent).status_code == 302
    site.refresh_from_db()
    assert (site.name, site.x, site.y, site.rest_until) == ("Near the wrist", 0.42, 0.8, date(2026, 12, 24))


@pytest.mark.parametrize(
    ("fields", "field"),
    [({"x": "0.5"}, "y"), ({"y": "0.5"}, "x"), ({"x": "1.1", "y": "0.5"}, "x"), ({"x": "a", "y": "0.5"}, "x"),
     ({"rest_until": "soon"}, "rest_until"), ({"name": "Upper"}, "name"), ({"name": ""}, "name")],
)  # fmt: skip
def test_a_wrong_change_of_a_site_is_named(
    nurse_client: Client, where: str, anas_sites: list[AccessSite], fields: dict[str, str], field: str
) -> None:
    page = nurse_client.post(where, change(anas_sites[0], **fields))
    assert (page.status_code, set(page.context["change"].errors)) == (200, {field})
    anas_sites[0].refresh_from_db()
    assert (anas_sites[0].x, anas_sites[0].name) == (None, "Lower")


def test_a_rest_until_a_day_ends_by_itself_or_by_hand(
    nurse_client: Client, where: str, anas_sites: list[AccessSite]
) -> None:
    site, today = anas_sites[0], timezone.localdate()
    site.rest_until = today
    site.save()
    assert (site.rests_on(today), site.rests_on(today + timedelta(days=1))) == (True, False)
    nurse_client.post(where, {"task": "rest", "site": site.pk})
    site.refresh_from_db()
    assert (site.resting, site.rest_until) == (False, None)


def test_the_page_tells_when_a_site_was_used(
    nurse_client: Client, where: str, ana: Patient, anas_sites: list[AccessSite]
) -> None:
    lower = [{"site": anas_sites[0].pk, "use": "arterial"}]
    for days in (1, 3, 40):
        record_night(ana, timezone.now() - timedelta(days=days), sites=lower)
    page = laid_flat(nurse_client.get(where))
    assert "2 times in 30 days" in page
    assert "Not used in 90 days" in page


def test_the_phone_draws_the_same_limbs() -> None:
    """A place is a share of the picture: two pictures that differ would put it elsewhere."""
    script = re.sub(r'" \+\n\s*"', "", Path("sessions/static/bedside/js/arm.js").read_text(encoding="utf-8"))
    for limb, outline in OUTLINES.items():
        for path in (outline.limb, outline.vein, outline.artery):
            assert path in script, limb
