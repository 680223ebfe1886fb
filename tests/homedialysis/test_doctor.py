"""One command says in words what is wrong with an installation."""

from __future__ import annotations

import socket
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.utils import timezone

from alerts.services.heartbeat import BEAT, sign_of_life
from homedialysis.accounts.models import User
from homedialysis.running import doctor
from homedialysis.running.doctor import LOOK


def said(found: Any) -> list[tuple[str, str]]:
    return [(each.about, each.state) for each in found]


def closed_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as held:
        return int(held.getsockname()[1])


def test_an_address_without_https_and_pages_that_show_settings_are_wrong(settings: LazySettings) -> None:
    settings.SITE_ADDRESS, settings.SITE_HOST, settings.HTTPS = "http://unit.example", "unit.example", False
    settings.DEBUG = True
    assert said(doctor.address()) == [("address", "WRONG"), ("debug", "WRONG")]
    settings.SITE_ADDRESS, settings.HTTPS, settings.DEBUG = "https://unit.example", True, False
    assert said(doctor.address()) == [("address", "good")]


def test_a_key_that_others_may_write_is_wrong(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    key = tmp_path / "secret_key"
    key.write_text("x")
    key.chmod(0o666)
    monkeypatch.setenv("SECRET_KEY_FILE", str(key))
    assert said(doctor.secret_key()) == [("secret key", "WRONG")]
    key.chmod(0o400)
    assert said(doctor.secret_key()) == [("secret key", "good")]


def test_mail_that_nobody_takes_is_wrong(settings: LazySettings) -> None:
    settings.EMAIL_HOST = ""
    assert said(doctor.mail()) == [("mail", "WRONG")]
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", closed_port()
    (found, *_) = doctor.mail()
    assert found.state == "WRONG"
    assert f"127.0.0.1:{settings.EMAIL_PORT} does not" in found.words


@pytest.mark.django_db
def test_a_role_that_owns_its_tables_is_told_of(monkeypatch: pytest.MonkeyPatch) -> None:
    """The tests' own role is a superuser; another that owns nothing is well, one that owns a table is not."""
    with connection.cursor() as cursor:
        cursor.execute("CREATE ROLE plain_role NOLOGIN; GRANT USAGE, CREATE ON SCHEMA public TO plain_role")
        cursor.execute("GRANT SELECT ON ALL TABLES IN SCHEMA public TO plain_role; SET LOCAL ROLE plain_role")
        assert LOOK not in [found.state for found in doctor.database()]
        cursor.execute("CREATE TABLE owned_by_it (id int)")
        (found,) = [each for each in doctor.database() if each.state == LOOK]
        assert "this role owns 1 tables" in found.words


@pytest.mark.django_db
def test_the_database_of_the_tests_is_as_it_should_be() -> None:
    found = list(doctor.database())
    assert [each.about for each in found if each.state == "WRONG"] == []
    assert any("PostgreSQL" in each.words for each in found)


@pytest.mark.django_db
def test_beat_is_wrong_while_nobody_heard_of_it() -> None:
    assert said(doctor.beat()) == [("beat", "WRONG")]
    sign_of_life(BEAT, at=timezone.now())
    assert said(doctor.beat()) == [("beat", "good")]


@pytest.mark.parametrize(
    ("replies", "wrong"),
    [
        ([], {"worker “now”", "worker “later”"}),
        ([{"now@a": [{"name": "now"}]}], {"worker “later”"}),
        ([{"now@a": [{"name": "now"}]}, {"later@a": [{"name": "later"}]}], set()),
        ([{"celery@a": [{"name": "now"}]}, {"celery@a": [{"name": "later"}]}], {"workers"}),
    ],
)
def test_each_queue_needs_a_worker_and_each_worker_a_name(
    monkeypatch: pytest.MonkeyPatch, replies: list[Any], wrong: set[str]
) -> None:
    from homedialysis.celery import app

    monkeypatch.setattr(app.control, "broadcast", lambda *args, **words: replies)
    assert {each.about for each in doctor.workers() if each.state == "WRONG"} == wrong


def test_a_folder_that_cannot_be_written_and_missing_static_files_are_wrong(
    settings: LazySettings, tmp_path: Path
) -> None:
    settings.DATA_DIR = tmp_path / "nowhere"
    assert said(doctor.disk()) == [("disk", "WRONG")]
    settings.DATA_DIR, settings.STATIC_ROOT = tmp_path, tmp_path
    settings.STORAGES = {"staticfiles": {"BACKEND": "homedialysis.web.static_storage.HashedStatic"}}
    assert said(doctor.disk())[-1] == ("static files", "WRONG")


def test_what_a_proxy_answers_says_what_it_lacks() -> None:
    assert "X-Forwarded-Proto" in doctor._proxy(301).words
    assert "Host" in doctor._proxy(400).words
    assert doctor._proxy(200).state == "good"


def test_a_site_that_does_not_answer_is_wrong(settings: LazySettings) -> None:
    settings.HTTPS, settings.SITE_HOST = True, "127.0.0.1"
    settings.SITE_ADDRESS = f"https://127.0.0.1:{closed_port()}"
    assert said(doctor.from_outside()) == [("proxy", "WRONG")]


def test_the_command_ends_with_what_is_to_be_put_right(monkeypatch: pytest.MonkeyPatch) -> None:
    out = StringIO()
    good, wrong = doctor.Found("a", "good", "well"), doctor.Found("b", "WRONG", "broken: mend it")
    monkeypatch.setattr(doctor, "QUESTIONS", (lambda: iter([good]),))
    call_command("doctor", stdout=out)
    assert out.getvalue().splitlines() == ["good   a: well", "Nothing is wrong."]
    monkeypatch.setattr(doctor, "QUESTIONS", (lambda: iter([good, wrong]),))
    with pytest.raises(SystemExit):
        call_command("doctor", stdout=out)
    assert out.getvalue().splitlines()[-2:] == ["WRONG  b: broken: mend it", "1 to put right."]


@pytest.mark.django_db
@pytest.mark.parametrize("known", [True, False])
def test_a_mail_server_that_is_down_is_told_and_is_no_error(
    settings: LazySettings, client: Client, nurse: User, known: bool
) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", closed_port()
    email = nurse.email if known else "nobody@example.org"
    answer = client.post("/accounts/password/reset/", {"email": email}, follow=True)
    assert answer.status_code == 200
    assert "mail does not work just now" in answer.content.decode()
