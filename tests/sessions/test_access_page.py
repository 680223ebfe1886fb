"""The page of a patient's vascular access: one in use at a time, its sites, and rest for a site."""

from __future__ import annotations

import uuid
from datetime import date
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone

from sessions.models import AccessSite, Patient, VascularAccess
from tests.factories import AccessFactory, SiteFactory, night_body
from tests.over_http import put

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
    page = nurse_client.get(where).content.decode()
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
    assert not AccessSite.objects.exists()


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
    assert not VascularAccess.objects.exists()


def test_sites_of_an_access_given_up_stay_in_old_records(
    nurse_client: Client, ana_client: Client, where: str, anas_sites: list[AccessSite]
) -> None:
    rows = [{"site": anas_sites[0].pk, "use": "arterial"}]
    record_id = uuid.uuid4()
    assert put(ana_client, record_id, night_body(sites=rows)).status_code == 201
    nurse_client.post(where, {"task": "give up"})
    again: Any = put(ana_client, record_id, night_body(sites=rows, notes="Corrected."), '"1"')
    assert again.status_code == 200
