"""Is this installation as it should be? Each question answers in words, and says what to do where it is not."""

from __future__ import annotations

import os
import ssl
import stat
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from pathlib import Path
from smtplib import SMTPException
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import get_connection
from django.db import DatabaseError, connection
from django.utils import timezone

from homedialysis.env import MACHINE_ALONE
from homedialysis.running.room import disk_free
from homedialysis.running.schema import fit_of_database

GOOD, WRONG, LOOK = "good", "WRONG", "look"
LEAST_SERVER = 150_000
"""PostgreSQL 15, as its server_version_num."""
CLOCKS_APART = timedelta(seconds=30)
PROVED_WITHIN = timedelta(days=100)
CERTIFICATE_ENDS = timedelta(days=14)
LEAST_FREE = 2 * 1024**3
QUEUES = ("now", "later")
PATIENCE = 6.0
"""Seconds to wait for an answer."""


@dataclass(frozen=True, slots=True)
class Found:
    """What one question found: `state` is good, WRONG, or look (no fault, but somebody should know)."""

    about: str
    state: str
    words: str

    @property
    def line(self) -> str:
        return f"{self.state:<6} {self.about}: {self.words}"


def address() -> Iterator[Found]:
    yield (
        Found("address", GOOD, settings.SITE_ADDRESS)
        if settings.HTTPS
        else Found(
            "address", LOOK if settings.SITE_HOST in MACHINE_ALONE else WRONG,
            f"{settings.SITE_ADDRESS} has no https: cookies and records go over the line readable, and phones keep "
            "nothing offline. Set SITE_ADDRESS=https://… and a proxy that ends TLS",
        )
    )  # fmt: skip
    if settings.DEBUG:
        yield Found("debug", WRONG, "DEBUG is true: pages of errors show settings and records. Take DEBUG out")


def secret_key() -> Iterator[Found]:
    path = os.environ.get("SECRET_KEY_FILE")
    if not path and not os.environ.get("SECRET_KEY"):
        yield Found("secret key", LOOK, "none is set: one of the data folder or of this process alone is used")
    elif path and Path(path).stat().st_mode & stat.S_IWOTH:
        yield Found("secret key", WRONG, f"{path} can be written by everybody on this machine: chmod 400")
    else:
        yield Found("secret key", GOOD, f"{len(settings.SECRET_KEY)} signs, of this installation")


def mail() -> Iterator[Found]:
    if not settings.EMAIL_HOST:
        yield Found("mail", WRONG, "EMAIL_HOST is not set: lost passwords and messages to staff go nowhere")
        return
    where = f"{settings.EMAIL_HOST}:{settings.EMAIL_PORT}"
    try:
        with get_connection(fail_silently=False):
            yield Found("mail", GOOD, f"{where} lets this installation in")
    except (OSError, SMTPException) as problem:
        hint = "look at EMAIL_HOST, EMAIL_PORT, EMAIL_USER, EMAIL_PASSWORD, and EMAIL_TLS (587) or EMAIL_SSL (465)"
        yield Found("mail", WRONG, f"{where} does not: {problem}; {hint}")
    if not settings.EMAIL_USE_TLS and not settings.EMAIL_USE_SSL:
        yield Found("mail", LOOK, "it goes without TLS: only right for a server on this machine")


def database() -> Iterator[Found]:
    try:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT current_setting('server_version_num')::int, current_setting('server_version'), "
                "current_setting('server_encoding'), rolsuper, clock_timestamp() "
                "FROM pg_roles WHERE rolname = current_user"
            )
            number, version, encoding, superuser, at = cursor.fetchone()
            cursor.execute("SELECT count(*) FROM pg_tables WHERE tableowner = current_user")
            (owned,) = cursor.fetchone()
        fit = fit_of_database()
    except DatabaseError as problem:
        yield Found("database", WRONG, f"it cannot be asked: {problem}".strip() + "; look at DATABASE_URL")
        return
    yield _judged("database", number >= LEAST_SERVER, f"PostgreSQL {version}", "15 or later is needed")
    yield _judged("database", encoding == "UTF8", f"written in {encoding}", "make it anew with --encoding=UTF8: names")
    yield _judged("database", fit.fits, f"tables {fit.words}", "manage.py migrate, of the version that runs")
    if superuser:
        words = "this role is a superuser: triggers that keep history bind it no more. Make it a role of its own"
        yield Found("database", LOOK, words)
    elif owned:
        words = f"this role owns {owned} tables: who has its password can take off the triggers that keep history. Let "
        yield Found("database", LOOK, words + "another role own them and migrate, as deploy/debian/database.sql does")
    yield _judged("clock", abs(at - timezone.now()) < CLOCKS_APART, f"the database says {at:%H:%M:%S}",
                  "its clock and this machine's are apart: let both follow a time server")  # fmt: skip


def _judged(about: str, well: bool, words: str, otherwise: str) -> Found:
    return Found(about, GOOD if well else WRONG, words if well else f"{words}: {otherwise}")


def workers() -> Iterator[Found]:
    from homedialysis.celery import app

    try:
        said = app.control.broadcast("active_queues", reply=True, timeout=3)
    except OSError as problem:  # kombu's errors of a lost broker are such
        yield Found("broker", WRONG, f"it cannot be reached: {problem}; look at BROKER_URL")
        return
    yield Found("broker", GOOD, "reached")
    served = {queue["name"] for reply in said or [] for queues in reply.values() for queue in queues}
    for queue in QUEUES:
        command = f"celery -A homedialysis worker --queues {queue} -n {queue}@%h"
        well = queue in served
        words = "answers" if well else f"none answers: start {command}"
        yield Found(f"worker “{queue}”", GOOD if well else WRONG, words)
    names = Counter(name for reply in said or [] for name in reply)
    twice = [name for name, times in names.items() if times > 1]
    if twice:
        yield Found("workers", WRONG, f"two are called {twice[0]}: give each a name of its own with -n")


def beat() -> Iterator[Found]:
    from alerts.services.heartbeat import state_of_work

    try:
        state = state_of_work(at=timezone.now())
    except DatabaseError:
        return  # the database's own question has said so
    words = "at work" if state.beat_works else f"{state.beat}: start one, and one only"
    yield Found("beat", GOOD if state.beat_works else WRONG, words)


def backups() -> Iterator[Found]:
    from alerts.services.heartbeat import state_of_work

    try:
        state = state_of_work(at=timezone.now())
    except DatabaseError:
        return
    if state.backup_heard is None:
        yield Found("backup", LOOK, "none was made by manage.py backup: who else makes one, and does it come back?")
        return
    made = f"the last one is of {state.backup_heard:%Y-%m-%d %H:%M} UTC"
    yield _judged("backup", not state.backup_late, made, "is its timer at work?")
    tried = f"one was restored on {state.proof_heard:%Y-%m-%d}" if state.proof_heard else "none was ever restored"
    well = state.proof_heard is not None and state.at - state.proof_heard < PROVED_WITHIN
    yield Found("backup tried", GOOD if well else LOOK, f"{tried} by manage.py prove_backup")


def disk() -> Iterator[Found]:
    folder: Path = settings.DATA_DIR
    if not os.access(folder, os.W_OK):
        yield Found("disk", WRONG, f"DATA_DIR {folder} cannot be written: reports and exports fail")
    else:
        free = disk_free()
        yield _judged("disk", free > LEAST_FREE, f"{free / 1024**3:.1f} GB free in {folder}", "make room")
    if "HashedStatic" in settings.STORAGES["staticfiles"]["BACKEND"]:
        there = (settings.STATIC_ROOT / "staticfiles.json").is_file()
        words = f"in {settings.STATIC_ROOT}" if there else f"none in {settings.STATIC_ROOT}: manage.py collectstatic"
        yield Found("static files", GOOD if there else WRONG, words)


def from_outside() -> Iterator[Found]:
    """As a browser asks: through the proxy, with the certificate judged by what this machine trusts."""
    if not settings.HTTPS:
        return
    try:
        yield from _asked(HTTPSConnection(*_place(), timeout=PATIENCE, context=ssl.create_default_context()))
    except ssl.SSLCertVerificationError as problem:
        why = problem.verify_message
        words = f"it is not trusted here ({why}): a phone on which the warning was clicked away keeps nothing offline"
        yield Found("certificate", WRONG, words)
    except (OSError, HTTPException) as problem:
        yield Found("proxy", WRONG, f"{settings.SITE_ADDRESS} does not answer from here: {problem}")


def _place() -> tuple[str, int]:
    return settings.SITE_HOST, urlsplit(settings.SITE_ADDRESS).port or 443


def _asked(line: HTTPConnection) -> Iterator[Found]:
    line.connect()
    if isinstance(line.sock, ssl.SSLSocket):
        yield _certificate(line.sock)
    line.request("GET", "/healthz")
    answer = line.getresponse()
    yield _proxy(answer.status)
    if said := answer.headers.get("Date"):
        apart = abs(parsedate_to_datetime(said) - timezone.now())
        yield _judged("clock", apart < CLOCKS_APART, "that of the proxy agrees", "that of the proxy is apart")
    line.close()


def _certificate(sock: ssl.SSLSocket) -> Found:
    ends = ssl.cert_time_to_seconds(str((sock.getpeercert() or {})["notAfter"]))
    day = datetime.fromtimestamp(ends, UTC)
    left = day - timezone.now()
    return _judged("certificate", left > CERTIFICATE_ENDS, f"trusted, until {day:%Y-%m-%d}", "renew it")


def _proxy(status: int) -> Found:
    hints = {
        301: "the proxy does not send X-Forwarded-Proto: https, so every page leads to itself",
        302: "the proxy does not send X-Forwarded-Proto: https, so every page leads to itself",
        400: "the proxy does not hand on the name that was asked for: send Host as it came",
        502: "the proxy is there, and the web server behind it is not",
    }
    return _judged("proxy", status == 200, "hands on as it should", f"it answers {status}: {hints.get(status, 'look')}")


QUESTIONS: tuple[Callable[[], Iterator[Found]], ...] = (
    address, secret_key, mail, database, workers, beat, backups, disk, from_outside,
)  # fmt: skip


def examine() -> Iterator[Found]:
    """Every answer, as it comes. A question that the machine itself refuses is an answer too."""
    for ask in QUESTIONS:
        try:
            yield from ask()
        except OSError as problem:
            yield Found(ask.__name__.replace("_", " "), WRONG, str(problem))
