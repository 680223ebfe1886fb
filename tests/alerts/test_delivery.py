"""Messages on their way: real mail and push servers that take, refuse, ask for patience or are away."""

from __future__ import annotations

import base64
import itertools
import json
import os
import smtplib
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import Any

import http_ece
import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from django.core import mail
from django.core.management import CommandError, call_command
from django.db import connection

from alerts.models import Alert, AlertMessage, PushAddress
from alerts.models.choices import Channel
from alerts.services import delivery, escalation, push_addresses, push_keys, sending
from alerts.services.acting import see
from alerts.services.delivery import Answer
from homedialysis.accounts.models import User
from sessions.models import Patient
from tests.alerts.made_alerts import MORNING, made_alert
from tests.crowd import ours

SMTP = "django.core.mail.backends.smtp.EmailBackend"
MINUTE = timedelta(minutes=1)


def run(at: datetime = MORNING) -> int:
    return delivery.deliver_due(sending.send, now=lambda: at)


def a_message(person: User, **changes: Any) -> AlertMessage:
    found: AlertMessage = AlertMessage.objects.create(
        **({"to": person, "channel": Channel.EMAIL, "made_at": MORNING, "due_at": MORNING} | changes)
    )
    return found


@contextmanager
def mail_server(*answers: bytes) -> Iterator[tuple[int, list[bytes]]]:
    """Speaks just enough SMTP: greets, and answers each line from the client with the next of `answers`."""
    listener = socket.create_server(("127.0.0.1", 0))
    heard: list[bytes] = []

    def serve() -> None:
        talk, _ = listener.accept()
        with talk, talk.makefile("rwb") as lines:
            lines.write(b"220 made-up.example ready\r\n")
            lines.flush()
            for answer in answers:
                heard.append(lines.readline())
                lines.write(answer + b"\r\n")
                lines.flush()

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield listener.getsockname()[1], heard
    finally:
        thread.join(timeout=5)
        listener.close()


@pytest.fixture
def smtp(settings: Any) -> Callable[[int], None]:
    def use(port: int) -> None:
        settings.EMAIL_BACKEND = SMTP
        settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_USE_TLS = "127.0.0.1", port, False
        settings.EMAIL_HOST_USER = settings.EMAIL_HOST_PASSWORD = ""

    return use


def clinical(patient: Patient, alert: Alert) -> tuple[str, ...]:
    """What no message may hold."""
    return ("Ana", "Verdemar", patient.hospital_number, "UF", "12.9", str(alert.pk), str(patient.pk))


class TestMail:
    def test_names_nobody_and_says_nothing_clinical(self, ana: Patient, nurse: User) -> None:
        alert = made_alert(ana)
        a_message(nurse, alert=alert, waiting_since=MORNING)
        assert run() == 1
        (sent,) = mail.outbox
        assert sent.to == [nurse.email]
        text = f"{sent.subject} {sent.body}"
        assert "/triage/" in text
        for word in clinical(ana, alert):
            assert word not in text.replace("http://127.0.0.1:8000", "")
        row = ours(AlertMessage).get()
        assert (row.sent_at, row.attempts, row.answer_words) == (MORNING, 1, "The mail server took it.")

    def test_a_recipient_that_is_refused_is_not_tried_again(self, nurse: User, smtp: Any) -> None:
        a_message(nurse)
        answers = (b"250 made-up.example", b"250 fine", b"550 5.1.1 No such mailbox", b"250 forgotten", b"221 bye")
        with mail_server(*answers) as (port, heard):
            smtp(port)
            assert run() == 1
        row = ours(AlertMessage).get()
        assert row.answer_words == "The mail server said 550: 5.1.1 No such mailbox"
        assert row.failed_at == MORNING
        assert heard[2].startswith(b"rcpt TO:<" + nurse.email.encode())
        assert run(MORNING + timedelta(days=1)) == 0

    def test_a_server_that_is_busy_is_tried_again_later(self, nurse: User, smtp: Any) -> None:
        a_message(nurse)
        with mail_server(b"250 made-up.example", b"250 fine", b"451 4.3.0 Later please", b"250 ok", b"221 bye") as (
            port,
            _,
        ):
            smtp(port)
            run()
        row = ours(AlertMessage).get()
        assert (row.failed_at, row.sent_at, row.attempts) == (None, None, 1)
        assert "451" in row.answer_words
        assert row.due_at == MORNING + MINUTE
        assert run(MORNING + timedelta(seconds=59)) == 0

    def test_a_server_that_is_away_in_the_end_fails(self, nurse: User, smtp: Any) -> None:
        a_message(nurse)
        with socket.create_server(("127.0.0.1", 0)) as free:
            port = free.getsockname()[1]
        smtp(port)
        tries, at = [], MORNING
        while ours(AlertMessage).waiting().exists():
            at = ours(AlertMessage).get().due_at
            tries.append(at)
            run(at)
        assert [b - a for a, b in itertools.pairwise(tries)] == [n * MINUTE for n in (1, 3, 9, 27, 81)]
        row = ours(AlertMessage).get()
        assert (row.failed_at, row.attempts) == (at, delivery.MOST_ATTEMPTS)
        assert row.answer_words.startswith("The mail server was not reached: ConnectionRefusedError")

    @pytest.mark.parametrize(
        ("problem", "failed"),
        [
            (smtplib.SMTPAuthenticationError(535, b"5.7.8 no"), False),
            (smtplib.SMTPSenderRefused(550, b"5.7.8 no", "unit@example.org"), False),
            (smtplib.SMTPDataError(500, b"5.7.8 no"), True),
            (smtplib.SMTPDataError(499, b"5.7.8 no"), False),
            (smtplib.SMTPServerDisconnected("5.7.8 no"), False),
        ],
    )
    def test_a_wrong_password_or_sender_may_be_put_right(
        self, nurse: User, monkeypatch: pytest.MonkeyPatch, problem: smtplib.SMTPException, failed: bool
    ) -> None:
        def refuse(*_: object) -> None:
            raise problem

        monkeypatch.setattr(sending.EmailMessage, "send", refuse)
        a_message(nurse)
        run()
        row = ours(AlertMessage).get()
        assert (row.sent_at, row.failed_at) == (None, MORNING if failed else None)
        assert row.answer_words.endswith("5.7.8 no")

    def test_without_a_mail_server_it_says_so(self, nurse: User, settings: Any) -> None:
        settings.EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
        a_message(nurse)
        run()
        row = ours(AlertMessage).get()
        assert (row.answer_words, row.failed_at) == ("No mail server is set up (EMAIL_HOST).", MORNING)


class PushService(HTTPServer):
    """Stands where a push service would: answers with a chosen code, keeps what it was sent."""

    code = 201
    headers: dict[str, str] = {}  # noqa: RUF012
    got: list[tuple[dict[str, str], bytes]]


class _Handler(BaseHTTPRequestHandler):
    server: PushService

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.got.append(({name.lower(): value for name, value in self.headers.items()}, body))
        self.send_response(self.server.code)
        for name, value in self.server.headers.items():
            self.send_header(name, value)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *args: Any) -> None:
        """Quietly."""


@pytest.fixture
def service() -> Iterator[PushService]:
    with PushService(("127.0.0.1", 0), _Handler) as server:
        server.got = []
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server
        server.shutdown()


def _text(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


@pytest.fixture
def browser_key() -> ec.EllipticCurvePrivateKey:
    return ec.generate_private_key(ec.SECP256R1())


SECRET = os.urandom(16)


@pytest.fixture
def push(
    nurse: User,
    service: PushService,
    browser_key: ec.EllipticCurvePrivateKey,
    settings: Any,
    monkeypatch: pytest.MonkeyPatch,
) -> AlertMessage:
    """The service of these tests runs on this machine: for it that counts as outside."""
    settings.PUSH_KEY = push_keys.new_key()
    monkeypatch.setattr(push_addresses, "leads_outside", lambda endpoint: True)
    point = browser_key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    address = PushAddress.objects.create(
        person=nurse,
        endpoint=f"http://127.0.0.1:{service.server_port}/push/1",
        p256dh=_text(point),
        auth=_text(SECRET),
        label="a browser",
        added_at=MORNING,
    )
    return a_message(nurse, channel=Channel.PUSH, push=address)


def unpadded(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def vapid_claims(authorization: str) -> dict[str, Any]:
    """The claims of a VAPID header (RFC 8292, 3), once its signature was found to be of the key that it names."""
    scheme, _space, parts = authorization.partition(" ")
    named = dict(part.strip().split("=", 1) for part in parts.split(","))
    signed, _dot, signature = named["t"].rpartition(".")
    head, _dot, claims = signed.partition(".")
    assert (scheme, json.loads(unpadded(head))["alg"]) == ("vapid", "ES256")
    assert named["k"] == push_keys.public_key()
    raw = unpadded(signature)
    dss = encode_dss_signature(int.from_bytes(raw[:32]), int.from_bytes(raw[32:]))
    key = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), unpadded(named["k"]))
    key.verify(dss, signed.encode(), ec.ECDSA(SHA256()))  # raises when it is not
    found: dict[str, Any] = json.loads(unpadded(claims))
    return found


class TestPush:
    def test_a_name_that_leads_inside_is_never_asked(
        self, push: AlertMessage, service: PushService, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.undo()
        run()
        push.refresh_from_db()
        assert push.failed_at == MORNING
        assert "leads to a machine inside" in push.answer_words
        assert service.got == []

    def test_the_browser_can_read_it_and_nobody_else(
        self, push: AlertMessage, service: PushService, browser_key: ec.EllipticCurvePrivateKey, ana: Patient
    ) -> None:
        alert = made_alert(ana)
        ours(AlertMessage).update(alert=alert, waiting_since=MORNING)
        run()
        push.refresh_from_db()
        assert (push.sent_at, push.answer_words) == (MORNING, "The push service took it (201).")
        ((headers, body),) = service.got
        assert headers["content-encoding"] == "aes128gcm"
        assert headers["ttl"] == str(sending.TIME_TO_LIVE)
        plain = http_ece.decrypt(body, private_key=browser_key, auth_secret=SECRET, version="aes128gcm")
        told = json.loads(plain)
        assert told["url"] == "/triage/"
        assert [word for word in clinical(ana, alert) if word in plain.decode()] == []
        assert b"Please look" not in body

    def test_the_service_can_tell_who_sent_it(self, push: AlertMessage, service: PushService) -> None:
        run()
        ((headers, _body),) = service.got
        claims = vapid_claims(headers["authorization"])
        assert claims["aud"] == f"http://127.0.0.1:{service.server_port}"
        assert 0 < claims["exp"] - time.time() <= 24 * 3600
        assert claims["sub"].startswith("mailto:")
        start, _dot, end = headers["authorization"].partition(".")
        with pytest.raises(InvalidSignature):
            vapid_claims(f"{start}.{_text(json.dumps(claims | {'sub': 'mailto:x'}).encode())}.{end.partition('.')[2]}")

    @pytest.mark.parametrize("code", [404, 410])
    def test_a_browser_that_is_gone_is_forgotten(self, push: AlertMessage, service: PushService, code: int) -> None:
        service.code = code
        run()
        push.refresh_from_db()
        assert (push.failed_at, push.push) == (MORNING, None)
        assert push.answer_words == f"127.0.0.1 says {code}: this browser is gone, and was removed."
        assert ours(PushAddress).count() == 0

    @pytest.mark.parametrize("code", [500, 503])
    def test_a_service_in_trouble_is_asked_again(self, push: AlertMessage, service: PushService, code: int) -> None:
        service.code = code
        run()
        push.refresh_from_db()
        assert (push.failed_at, push.sent_at, push.answer_words) == (None, None, f"127.0.0.1 says {code}.")
        service.code = 201
        run(push.due_at)
        push.refresh_from_db()
        assert push.sent_at is not None
        assert push.attempts == 2

    def test_a_service_that_asks_for_patience_gets_it(self, push: AlertMessage, service: PushService) -> None:
        service.code, service.headers = 429, {"Retry-After": "600"}
        run()
        push.refresh_from_db()
        assert push.due_at == MORNING + timedelta(seconds=600)

    @pytest.mark.parametrize(
        ("said", "dated", "wait"),
        [
            ("120", "", timedelta(minutes=2)),
            ("Wed, 25 Nov 2026 16:40:00 GMT", "Wed, 25 Nov 2026 16:25:00 GMT", timedelta(minutes=15)),
            ("Wed, 25 Nov 2026 16:20:00 GMT", "Wed, 25 Nov 2026 16:25:00 GMT", timedelta(0)),
            ("Wed, 25 Nov 2026 16:40:00 GMT", "", None),
            ("soon", "Wed, 25 Nov 2026 16:25:00 GMT", None),
            ("", "", None),
        ],
    )
    def test_patience_is_asked_for_in_seconds_or_by_a_date(self, said: str, dated: str, wait: timedelta | None) -> None:
        """Both forms of RFC 9110, 10.2.3."""
        assert sending.patience(said, dated) == wait

    def test_a_date_in_the_answer_is_held_to(self, push: AlertMessage, service: PushService) -> None:
        soon = datetime.now(tz=UTC) + timedelta(minutes=30)
        service.code, service.headers = 503, {"Retry-After": format_datetime(soon, usegmt=True)}
        run()
        push.refresh_from_db()
        assert timedelta(minutes=29) < push.due_at - MORNING <= timedelta(minutes=31)

    def test_refused_for_good(self, push: AlertMessage, service: PushService) -> None:
        service.code = 403
        run()
        push.refresh_from_db()
        assert (push.failed_at, push.answer_words) == (MORNING, "127.0.0.1 says 403.")
        assert ours(PushAddress).count() == 1

    def test_it_is_sent_nowhere_else(self, push: AlertMessage, service: PushService) -> None:
        service.code, service.headers = 307, {"Location": f"http://127.0.0.1:{service.server_port}/inside"}
        run()
        push.refresh_from_db()
        assert push.sent_at is None
        assert len(service.got) == 1

    def test_without_a_key(self, push: AlertMessage, settings: Any, tmp_path: Any) -> None:
        settings.PUSH_KEY, settings.DATA_DIR = "", tmp_path
        run()
        push.refresh_from_db()
        assert push.failed_at == MORNING
        assert "make_push_keys" in push.answer_words


class TestOneAfterAnother:
    def test_what_somebody_looked_at_meanwhile_is_not_sent(self, ana: Patient, nurse: User, nephrologist: User) -> None:
        alert = made_alert(ana)
        escalation.tell_next(at=MORNING + 30 * MINUTE)
        see(alert=alert, by=nephrologist, at=MORNING + 30 * MINUTE)
        run(MORNING + 31 * MINUTE)
        row = ours(AlertMessage).get()
        assert (row.dropped_at, row.sent_at) == (MORNING + 31 * MINUTE, None)
        assert mail.outbox == []

    def test_a_fault_of_ours_does_not_stop_the_others(self, nurse: User) -> None:
        first, second = a_message(nurse), a_message(nurse)

        def send(row: AlertMessage) -> Answer:
            if row.pk == first.pk:
                raise RuntimeError("broken")
            return Answer(sent=True, code="mail_taken")

        assert delivery.deliver_due(send, now=lambda: MORNING) == 2
        first.refresh_from_db()
        second.refresh_from_db()
        assert (first.answer_words, first.sent_at) == ("RuntimeError while sending", None)
        assert second.sent_at == MORNING

    def test_what_has_been_due_longest_goes_first_and_no_more_than_asked(self, nurse: User) -> None:
        later, first, ahead = (a_message(nurse, due_at=MORNING + minutes * MINUTE) for minutes in (-1, -5, 1))
        sent: list[AlertMessage] = []

        def send(row: AlertMessage) -> Answer:
            sent.append(row)
            return Answer(sent=True, code="mail_taken")

        assert delivery.deliver_due(send, now=lambda: MORNING, limit=1) == 1
        assert sent == [first]
        assert delivery.deliver_due(send, now=lambda: MORNING) == 1
        assert sent == [first, later]
        assert delivery.deliver_due(send, now=lambda: MORNING + MINUTE) == 1
        assert sent[-1] == ahead

    @pytest.mark.parametrize(
        ("asked", "given"),
        [
            (timedelta(seconds=5), MINUTE),
            (timedelta(minutes=7), 7 * MINUTE),
            (timedelta(hours=9), timedelta(hours=3)),
            (None, MINUTE),
        ],
    )
    def test_patience_has_its_bounds(self, nurse: User, asked: timedelta | None, given: timedelta) -> None:
        a_message(nurse)
        delivery.deliver_due(
            lambda row: Answer(False, "push_said", {"words": "x" * 999}, wait=asked), now=lambda: MORNING
        )
        row = ours(AlertMessage).get()
        assert row.due_at == MORNING + given
        assert row.answer == {"code": "push_said", "parts": {"words": "x" * delivery.LONGEST_ANSWER}}

    def test_the_next_try_is_set_before_sending(self, nurse: User) -> None:
        a_message(nurse)
        seen: list[datetime] = []

        def die(row: AlertMessage) -> Answer:
            seen.append(ours(AlertMessage).get().due_at)
            raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            delivery.deliver_due(die, now=lambda: MORNING)
        assert seen == [MORNING + MINUTE]
        assert ours(AlertMessage).due(MORNING + MINUTE).count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_workers_send_each_message_once(nurse: User) -> None:
    for _ in range(6):
        a_message(nurse)
    sent: list[int] = []
    start = threading.Barrier(2)

    def work() -> None:
        try:
            start.wait(timeout=10)
            delivery.deliver_due(lambda row: sent.append(row.pk) or Answer(True, "ok"), now=lambda: MORNING)  # type: ignore[func-returns-value]
        finally:
            connection.close()

    threads = [threading.Thread(target=work) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=20)
    assert sorted(sent) == sorted(ours(AlertMessage).values_list("pk", flat=True))


class TestCommands:
    def test_a_test_goes_out_at_once(self, nurse: User, capsys: pytest.CaptureFixture[str]) -> None:
        call_command("send_test_alert", nurse.email)
        (sent,) = mail.outbox
        assert "A test" in str(sent.body)
        assert "The mail server took it." in capsys.readouterr().out

    def test_a_test_that_fails_says_so(self, nurse: User, settings: Any) -> None:
        settings.EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
        with pytest.raises(CommandError, match="Not everything was sent"):
            call_command("send_test_alert", nurse.email)

    def test_not_to_a_patient(self, ana: Patient) -> None:
        assert ana.account is not None
        with pytest.raises(CommandError, match="Nobody of the team signs in with"):
            call_command("send_test_alert", ana.account.email)

    def test_a_key_is_made_once_and_kept_from_others(self, settings: Any, tmp_path: Any) -> None:
        settings.PUSH_KEY, settings.DATA_DIR = "", tmp_path
        assert push_keys.public_key() is None
        call_command("make_push_keys")
        key = push_keys.public_key()
        assert key is not None
        assert len(base64.urlsafe_b64decode(key + "=")) == 65
        assert (tmp_path / "push_key").stat().st_mode & 0o777 == 0o600
        with pytest.raises(CommandError, match="is there already"):
            call_command("make_push_keys")
        assert push_keys.public_key() == key
