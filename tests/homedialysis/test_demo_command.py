"""`manage.py demo` from outside: what it prints, what it starts, and that it leaves nothing behind."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, OpenerDirector, ProxyHandler, Request, build_opener

import psutil
import pytest

from homedialysis.demo.people import SIGN_INS
from homedialysis.local.processes import end_group, tied_to_this_process, wait_until
from homedialysis.local.servers import LocalServers
from homedialysis.local.tools import free_port, port_is_free

ROOT = Path(__file__).resolve().parents[2]
MANAGE = [sys.executable, str(ROOT / "manage.py")]
PATIENCE = 300.0
"""Seconds, for machines that are busy with other things; nothing here is about speed."""


def gone(process: psutil.Process) -> bool:
    """Whether it has ended; one that only waits for somebody to read its exit code has."""
    try:
        return not process.is_running() or process.status() == psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return True


class Demo:
    """One run of the command, its output collected in files."""

    def __init__(self, folder: Path, *options: str, **environment: str) -> None:
        self.port = free_port()
        self.address = f"http://127.0.0.1:{self.port}/"
        self.data = folder / "data"
        self._out, self._err = folder / f"out-{self.port}", folder / f"err-{self.port}"
        given = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "BROKER_URL")}
        command = [*MANAGE, "demo", "--port", str(self.port), "--data", str(self.data), *options]
        with self._out.open("wb") as out, self._err.open("wb") as err:
            self.process = subprocess.Popen(
                command,
                stdout=out,
                stderr=err,
                cwd=ROOT,
                env=given | environment,
                start_new_session=True,
                preexec_fn=tied_to_this_process(signal.SIGTERM),
            )

    @property
    def out(self) -> str:
        return self._out.read_text()

    @property
    def err(self) -> str:
        return self._err.read_text()

    def wait_until_ready(self) -> None:
        said = wait_until(lambda: "Ctrl-C" in self.out or self.process.poll() is not None, seconds=PATIENCE)
        assert said, self.err
        assert self.process.poll() is None, self.err

    def everything(self) -> list[psutil.Process]:
        parent = psutil.Process(self.process.pid)
        return [parent, *parent.children(recursive=True)]

    def child(self, words: str) -> psutil.Process:
        """The one process right below the command with these words in its command line."""
        below = psutil.Process(self.process.pid).children()
        (found,) = [process for process in below if words in " ".join(process.cmdline())]
        return found

    def exit_code(self) -> int:
        return self.process.wait(PATIENCE)


@pytest.fixture
def demos() -> Iterator[list[Demo]]:
    """Ends what a failed test leaves running."""
    running: list[Demo] = []
    yield running
    for demo in running:
        if demo.process.poll() is None:
            end_group(demo.process.pid)
            demo.process.wait()


def visitor() -> OpenerDirector:
    return build_opener(ProxyHandler({}), HTTPCookieProcessor(CookieJar()))


def sign_in(address: str, email: str, password: str) -> str:
    """Where the form of the sign-in page leads to."""
    browser = visitor()
    page = browser.open(f"{address}accounts/login/").read().decode()
    token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page)
    assert token is not None
    fields = urlencode({"login": email, "password": password, "csrfmiddlewaretoken": token[1]})
    with browser.open(Request(f"{address}accounts/login/", fields.encode())) as answer:
        return str(answer.geturl()).removeprefix(address)


@pytest.mark.slow
def test_from_the_first_start_to_the_second(tmp_path: Path, demos: list[Demo]) -> None:
    first = Demo(tmp_path, "--days", "7", "--patients", "4")
    demos.append(first)
    first.wait_until_ready()
    lines = first.out.splitlines()
    assert lines[0] == f"Ready: {first.address}"
    shown = [re.split(r"\s{2,}", line.strip()) for line in lines[1 : 1 + len(SIGN_INS)]]
    assert shown == [[role, email, password] for role, email, password in SIGN_INS]
    with visitor().open(f"{first.address}readyz") as answer:
        assert json.load(answer)["ready"] is True
    for _, email, password in SIGN_INS:
        assert not sign_in(first.address, email, password).startswith("accounts/login")
    assert sign_in(first.address, SIGN_INS[0][1], "not the password").startswith("accounts/login")
    _other_commands_find_the_database(first)
    _stops_in_good_order(first, signal.SIGTERM)

    second = Demo(tmp_path)
    demos.append(second)
    second.wait_until_ready()
    assert second.out.splitlines()[0] == f"Ready: {second.address}"
    assert "already" in second.err
    assert not sign_in(second.address, SIGN_INS[0][1], SIGN_INS[0][2]).startswith("accounts/login")
    _stops_in_good_order(second, signal.SIGINT)


def _other_commands_find_the_database(demo: Demo) -> None:
    """By the addresses that the demo left in its folder."""
    environment = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "BROKER_URL")}
    command = [*MANAGE, "migrate", "--check"]
    ran = subprocess.run(command, env=environment | {"DATA_DIR": str(demo.data)}, cwd=ROOT, check=False)
    assert ran.returncode == 0


def _stops_in_good_order(demo: Demo, number: signal.Signals) -> None:
    everything = demo.everything()
    words = " ".join(" ".join(process.cmdline()) for process in everything)
    for part in ("postgres", "valkey-server", "gunicorn", "worker", "beat"):
        assert part in words
    demo.process.send_signal(number)
    assert demo.exit_code() == 0
    assert all(gone(process) for process in everything)
    assert "Stopped" in demo.err
    assert not (demo.data / "servers.json").exists()
    assert port_is_free(demo.port)


@pytest.fixture(scope="module")
def given(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    """Servers that are there already, with a unit in the database."""
    with LocalServers(tmp_path_factory.mktemp("given"), throwaway=True) as servers:
        for command in (["migrate"], ["seed_demo", "--patients", "1", "--days", "7", "--no-progress"]):
            subprocess.run([*MANAGE, *command], env=os.environ | servers.environment, cwd=ROOT, check=True)
        yield servers.environment
        assert servers.trouble is None, "the demo must leave servers alone that it did not start"


def test_given_servers_are_used_and_a_part_that_dies_is_named(
    tmp_path: Path, given: dict[str, str], demos: list[Demo]
) -> None:
    demo = Demo(tmp_path, **given)
    demos.append(demo)
    demo.wait_until_ready()
    everything = demo.everything()
    assert not any(process.name().startswith(("postgres", "valkey")) for process in everything)
    demo.child("beat").kill()
    assert demo.exit_code() == 1
    assert "beat ended with exit code -9; the end of" in demo.err
    assert "beat: Starting" in demo.err
    assert "Traceback" not in demo.err
    assert all(gone(process) for process in everything)


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells children of their parent's sudden end")
def test_a_killed_command_takes_its_parts_with_it(tmp_path: Path, given: dict[str, str], demos: list[Demo]) -> None:
    demo = Demo(tmp_path, **given)
    demos.append(demo)
    demo.wait_until_ready()
    everything = demo.everything()
    demo.process.kill()
    demo.process.wait()
    assert wait_until(lambda: all(gone(process) for process in everything), seconds=60)


def test_a_stop_during_the_start_leaves_nothing(tmp_path: Path, demos: list[Demo]) -> None:
    demo = Demo(tmp_path)
    demos.append(demo)
    assert wait_until(lambda: (demo.data / "logs" / "migrations.log").exists(), seconds=PATIENCE), demo.err
    everything = demo.everything()
    demo.process.terminate()
    assert demo.exit_code() == 0
    assert "Ready" not in demo.out
    # A server that was only just starting may take its own children with it a moment later.
    assert wait_until(lambda: all(gone(process) for process in everything), seconds=20)


SIGNAL_AT_FORK = """
import os, signal, sys
import manage
os.register_at_fork(after_in_parent=lambda: os.kill(os.getpid(), signal.SIGTERM))
sys.argv = ["manage.py", "demo", *sys.argv[1:]]
manage.main()
"""


def test_a_stop_that_comes_while_a_process_starts_is_not_lost(tmp_path: Path) -> None:
    """An exception raised by a signal's handler at that moment would be swallowed by Python."""
    given = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "BROKER_URL")}
    command = [sys.executable, "-c", SIGNAL_AT_FORK, "--port", str(free_port()), "--data", str(tmp_path)]
    ran = subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT, env=given, timeout=PATIENCE)
    assert ran.returncode == 0, ran.stderr
    assert "Stopped" in ran.stderr
    assert "Ready" not in ran.stdout


def test_a_failing_step_is_shown_with_its_log(tmp_path: Path, demos: list[Demo]) -> None:
    unreachable = {"DATABASE_URL": "postgresql://127.0.0.1:1/nothing", "BROKER_URL": "redis://127.0.0.1:1/0"}
    demo = Demo(tmp_path, **unreachable)
    demos.append(demo)
    assert demo.exit_code() == 1
    assert "migrations ended with exit code 1; the end of" in demo.err
    assert "Connection refused" in demo.err
    assert "Ready" not in demo.out


def run_demo(*options: str, **environment: str) -> str:
    """What the command says when it refuses to start."""
    given = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "BROKER_URL")}
    command = [*MANAGE, "demo", *options]
    ran = subprocess.run(
        command, capture_output=True, text=True, check=False, cwd=ROOT, env=given | environment, timeout=PATIENCE
    )
    assert ran.returncode != 0
    assert "Ready" not in ran.stdout
    assert "Traceback" not in ran.stderr
    return ran.stderr


def test_a_taken_port_is_told(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        said = run_demo("--data", str(tmp_path), "--port", str(port))
    assert f"Port {port} of 127.0.0.1 is taken by another program: choose one with --port" in said


@pytest.mark.parametrize("port", ["0", "65536", "http"])
def test_an_impossible_port_is_told(port: str) -> None:
    said = run_demo("--port", port)
    assert f"argument --port: {port} was given, but a port is a number from 1 to 65535" in said


def test_too_few_patients_for_those_who_sign_in_are_told() -> None:
    said = run_demo("--patients", "3")
    assert "3 was given, but it takes 4 patients or more" in said


@pytest.mark.parametrize("name", ["DATABASE_URL", "BROKER_URL"])
def test_half_an_environment_is_refused(tmp_path: Path, name: str) -> None:
    said = run_demo("--data", str(tmp_path), **{name: "postgresql://127.0.0.1:1/x"})
    assert f"Only {name} is set: set both DATABASE_URL and BROKER_URL, or neither" in said


def test_a_folder_in_use_is_told(tmp_path: Path) -> None:
    with LocalServers(tmp_path, throwaway=True):
        said = run_demo("--data", str(tmp_path), "--port", str(free_port()))
    assert f"{tmp_path} is in use by process {os.getpid()}" in said


def test_fresh_never_empties_a_folder_of_somebody_else(tmp_path: Path) -> None:
    (tmp_path / "postgres").mkdir()
    (tmp_path / "postgres" / "letter").write_text("kept")
    said = run_demo("--fresh", "--data", str(tmp_path), "--port", str(free_port()))
    assert "was not made by this program" in said
    assert (tmp_path / "postgres" / "letter").read_text() == "kept"


def test_fresh_begins_with_nothing(tmp_path: Path, demos: list[Demo]) -> None:
    with LocalServers(tmp_path / "data", throwaway=True):
        before = (tmp_path / "data" / "database_password").read_text()
    demo = Demo(tmp_path, "--fresh")
    demos.append(demo)
    assert wait_until(lambda: (demo.data / "logs" / "migrations.log").exists(), seconds=PATIENCE), demo.err
    assert (demo.data / "database_password").read_text() != before
    demo.process.terminate()
    assert demo.exit_code() == 0
