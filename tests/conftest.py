"""The cast: one unit, two patients who must never see each other, a care partner, and the unit's people."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextvars import ContextVar
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from factory.django import DjangoModelFactory
from playwright.sync_api import Browser, sync_playwright
from pytest_django import DjangoDbBlocker

from homedialysis.accounts.models import Role, Unit, User
from sessions.models import AccessSite, Patient, Prescription
from tests import quick_flush
from tests.crowd import CrowdedTransaction
from tests.factories import (
    AccessFactory,
    CarePartnerFactory,
    PatientFactory,
    PrescriptionFactory,
    SiteFactory,
    UnitFactory,
    UserFactory,
)

CHROMIUM_NAMES = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")


def pytest_configure() -> None:
    """A quick hash for the passwords of made-up people, and static files by their plain names.

    No connection outlives its request: a browser keeps its own to the live server, whose thread would keep the
    database in use at the end.
    """
    settings.DATABASES["default"]["CONN_MAX_AGE"] = 0
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
    settings.WHITENOISE_USE_FINDERS = True
    settings.WHITENOISE_AUTOREFRESH = True
    quick_flush.use()


LONG = (
    "browser",
    "end_to_end",
    "cast",
    "truth",
    "upgrade",
    "access",
    "alerts/test_arrival.py",
    "homedialysis/test_compose.py",
    "homedialysis/test_demo_command.py",
    "homedialysis/test_demo_simulator.py",
    "homedialysis/test_local_servers.py",
    "homedialysis/test_seed_demo.py",
)
"""Folders and files that take long, most of it waiting: they begin first, so that no worker is left alone with one."""


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    items.sort(key=lambda item: not item.path.relative_to(here).as_posix().startswith(LONG))


@pytest.fixture(scope="session", autouse=True)
def made_up_rows_are_no_news() -> Iterator[None]:
    """What a factory makes stood there before the test began: only what a test does itself is news for the alerts."""
    from alerts.services import news
    from dosing import receivers

    making: ContextVar[bool] = ContextVar("making", default=False)
    create, tell, mark_stale = DjangoModelFactory._create, news.tell, receivers.mark_stale

    def created(cls: Any, model: Any, *args: Any, **columns: Any) -> Any:
        token = making.set(True)
        try:
            return create.__func__(cls, model, *args, **columns)
        finally:
            making.reset(token)

    def told(rows: Any) -> None:
        if not making.get():
            tell(rows)

    def marked(*args: Any, **words: Any) -> None:
        if not making.get():
            mark_stale(*args, **words)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(DjangoModelFactory, "_create", classmethod(created))
        patch.setattr(news, "tell", told)
        patch.setattr(receivers, "mark_stale", marked)
        yield


CROWDED = ("sessions", "dosing", "alerts")
"""The folders whose tests run in a crowded world (see `tests.crowd`)."""
ALONE = {
    "test_first_hour.py": "the page is of an installation that begins empty",
    "test_dialysers.py": "the list of dialysers is the unit's, and empty where nobody entered one",
    "test_jobs.py": "an export holds everybody, and its patients are counted by hand",
    "month/test_board.py": "the board shows the whole unit, and its people are counted by hand",
    "month/test_unit_report.py": "the report counts the whole unit, and its people are counted by hand",
    "test_preview.py": "a limit of the unit is tried on everybody's nights, and they are counted by hand",
    "test_staff_pages.py::TestQuality": "the same page, and the time of all patients",
    "test_outbox.py::test_a_task_leaves_what_is_too_much_for_it_to_the_next": "counts what waits in the whole unit",
    "test_news.py::test_news_of_the_unit_is_news_of_everybody_in_the_programme": "everybody is counted by hand",
    "test_triage_page.py": "the list is the whole unit's, empty where nothing is open, and its queries are counted",
    "test_bundle_page.py::TestCalls": "the calls that are due are the whole unit's, and at the end there is none",
    "test_replay.py": "a replay goes over everybody's nights, and they are counted by hand",
    "test_heartbeat.py::TestBanner": "the banner is of whatever waits in the whole unit, and empty where nothing does",
    "test_quality.py": "the page counts the whole unit's alerts, and they are counted by hand",
}
"""Test files of these folders, and classes and tests in them, that begin with an empty world, and why."""
standing_crowd = CrowdedTransaction()


def uses_database(request: pytest.FixtureRequest) -> bool:
    fixtures = {"db", "transactional_db", "live_server"} & set(request.fixturenames)
    return bool(fixtures) or request.node.get_closest_marker("django_db") is not None


def crowded(request: pytest.FixtureRequest) -> bool:
    """Whether a test that uses the database does so within a transaction of its own, and belongs among others."""
    folder = request.path.relative_to(Path(__file__).parent).parts[0]
    marker = request.node.get_closest_marker("django_db")
    committing = {"transactional_db", "live_server"} & set(request.fixturenames)
    own = not committing and not (marker and marker.kwargs.get("transaction"))
    _, _, node = request.node.nodeid.partition(f"{folder}/")
    alone = any(node == each or node.startswith((f"{each}::", f"{each}[")) for each in ALONE)
    return folder in CROWDED and not alone and own


@pytest.fixture(autouse=True, scope="module")
def alone_before_what_a_file_makes(request: pytest.FixtureRequest, django_db_blocker: DjangoDbBlocker) -> None:
    """A file outside of those folders makes its own world, maybe before its first test begins."""
    folder = request.path.relative_to(Path(__file__).parent).parts[0]
    if folder not in CROWDED and standing_crowd.outer is not None:
        with django_db_blocker.unblock():
            standing_crowd.leave()


@pytest.fixture(autouse=True, scope="class")  # for each function, and before any fixture of the function's own
def crowded_world(request: pytest.FixtureRequest, django_db_blocker: DjangoDbBlocker) -> None:
    """Another patient with rows of every kind, in the folders that say so. What asks no database leaves her there."""
    if not uses_database(request):
        return
    if crowded(request):
        request.getfixturevalue("django_db_setup")
        with django_db_blocker.unblock():
            standing_crowd.enter()
    elif standing_crowd.outer is not None:
        with django_db_blocker.unblock():
            standing_crowd.leave()


@pytest.fixture
def unit(db: None) -> Unit:
    return UnitFactory()


@pytest.fixture
def ana(unit: Unit) -> Patient:
    return PatientFactory(name="Ana Verdemar", account__email="ana@example.org")


@pytest.fixture
def ben(unit: Unit) -> Patient:
    return PatientFactory(name="Ben Okonjo", account__email="ben@example.org")


@pytest.fixture
def partner(ana: Patient) -> User:
    return CarePartnerFactory(patient=ana, user__name="Rui, who helps Ana").user


@pytest.fixture
def anas_prescription(ana: Patient) -> Prescription:
    return PrescriptionFactory(patient=ana, version=1)


@pytest.fixture
def anas_sites(ana: Patient) -> list[AccessSite]:
    access = AccessFactory(patient=ana)
    return [
        SiteFactory(access=access, name="Lower", use="arterial"),
        SiteFactory(access=access, name="Upper", use="venous"),
    ]


@pytest.fixture
def nurse(unit: Unit) -> User:
    return UserFactory(role=Role.NURSE, name="Nurse Kim")


@pytest.fixture
def nephrologist(unit: Unit) -> User:
    return UserFactory(role=Role.NEPHROLOGIST, name="Dr Lee")


@pytest.fixture
def technologist(unit: Unit) -> User:
    return UserFactory(role=Role.TECHNOLOGIST, name="Tove")


@pytest.fixture
def administrator(unit: Unit) -> User:
    return UserFactory(role=Role.ADMINISTRATOR, name="Adi")


def signed_in(user: User | None) -> Client:
    client = Client()
    assert user is not None
    client.force_login(user)
    return client


@pytest.fixture
def ana_client(ana: Patient) -> Client:
    return signed_in(ana.account)


@pytest.fixture
def ben_client(ben: Patient) -> Client:
    return signed_in(ben.account)


@pytest.fixture
def nurse_client(nurse: User) -> Client:
    return signed_in(nurse)


@pytest.fixture
def nephrologist_client(nephrologist: User) -> Client:
    return signed_in(nephrologist)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """One real Chromium for the run. Skips where there is none, unless REQUIRE_BROWSER=1 says it must be.

    All browser tests use this one: a second Playwright in the same thread would find the first one's event loop.
    """
    path = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, CHROMIUM_NAMES)), None)
    if path is None:
        missing = f"no Chromium found: tried {', '.join(CHROMIUM_NAMES)} and the variable CHROMIUM"
        if os.environ.get("REQUIRE_BROWSER") == "1":
            pytest.fail(missing)
        pytest.skip(missing)
    # The browser's driver runs an event loop in this thread; the tests use the database beside it on purpose.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield browser
        browser.close()
    del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]
