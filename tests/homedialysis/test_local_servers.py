"""The embedded PostgreSQL and broker: real ones, started and stopped for real."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import stat
import subprocess
import sys
from collections.abc import Iterator
from functools import partial
from multiprocessing import Pipe, get_context
from multiprocessing.connection import Connection
from pathlib import Path
from urllib.parse import urlsplit

import psutil
import psycopg
import pytest
import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

from homedialysis.local.data_folder import ADDRESSES, MARKER
from homedialysis.local.postgres import open_way
from homedialysis.local.processes import Account, Child, wait_until
from homedialysis.local.servers import LocalServers, LocalServersError
from homedialysis.local.tools import PORTS, end_leftover, free_port, package_folder

ROOT = Path(__file__).resolve().parents[2]
ONCE = Retry(NoBackoff(), 0)
AS_ROOT = os.geteuid() == 0
START_AND_TELL = """
import json, sys, time
from pathlib import Path
from homedialysis.local.servers import LocalServers
servers = LocalServers(Path(sys.argv[1]))
servers.start()
pids = [servers.postgres.pid, servers.broker.pid]
print(json.dumps({"pids": pids, **servers.environment}), flush=True)
time.sleep(float(sys.argv[2]))
servers.stop()
"""


def gone(pid: int) -> bool:
    """Whether the process has ended; one that only waits for somebody to read its exit code has."""
    try:
        return psutil.Process(pid).status() == psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return True


def pids(servers: LocalServers) -> list[int]:
    both = [servers.postgres.pid, servers.broker.pid]
    assert None not in both
    return [pid for pid in both if pid]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "data"


@pytest.fixture
def servers(folder: Path) -> Iterator[LocalServers]:
    with LocalServers(folder, throwaway=True) as running:
        yield running


def test_both_answer_on_this_machine_only(servers: LocalServers) -> None:
    with psycopg.connect(servers.postgres.url) as connection:
        row = connection.execute(
            "SELECT current_database(), current_setting('listen_addresses'), pg_encoding_to_char(encoding) "
            "FROM pg_database WHERE datname = current_database()"
        ).fetchone()
        connection.execute("CREATE EXTENSION btree_gist")  # the exclusion constraints need it
    assert row == ("homedialysis", "127.0.0.1", "UTF8")
    client = redis.Redis.from_url(servers.broker.url)
    assert client.config_get("bind") == {"bind": "127.0.0.1"}
    client.close()


@pytest.mark.parametrize("password", ["", "wrong"])
def test_nobody_gets_in_without_the_password(servers: LocalServers, password: str) -> None:
    database, broker = urlsplit(servers.postgres.url), urlsplit(servers.broker.url)
    with pytest.raises(psycopg.OperationalError, match="password"):
        psycopg.connect(database._replace(netloc=f"homedialysis:{password}@127.0.0.1:{database.port}").geturl())
    with pytest.raises(redis.AuthenticationError):
        redis.Redis(host="127.0.0.1", port=broker.port or 0, password=password or None, retry=ONCE).ping()


def test_what_a_failed_statement_was_about_stays_out_of_the_log(servers: LocalServers) -> None:
    with psycopg.connect(servers.postgres.url, autocommit=True) as connection:
        connection.execute("CREATE TEMPORARY TABLE weights (kg real UNIQUE, note text)")
        connection.execute("INSERT INTO weights VALUES (72.6, 'first')")
        with pytest.raises(psycopg.errors.UniqueViolation):
            connection.execute("INSERT INTO weights VALUES (72.6, 'cried all night')")
    log = servers.postgres.log.read_text()
    assert "duplicate key value violates unique constraint" in log
    assert "72.6" not in log
    assert "cried" not in log


def test_stopping_leaves_no_process_and_no_addresses(folder: Path) -> None:
    with LocalServers(folder, throwaway=True) as servers:
        told = json.loads((folder / ADDRESSES).read_text())
        assert told["database_url"] == servers.postgres.url
        assert told["broker_url"] == servers.broker.url
        assert stat.S_IMODE((folder / ADDRESSES).stat().st_mode) == 0o600
        tree = [each.pid for pid in pids(servers) for each in _with_children(pid)]
        assert len(tree) > 2
    assert all(gone(pid) for pid in tree)
    assert not (folder / ADDRESSES).exists()


def _with_children(pid: int) -> list[psutil.Process]:
    process = psutil.Process(pid)
    return [process, *process.children(recursive=True)]


def test_a_second_start_finds_the_data_of_the_first(folder: Path) -> None:
    with LocalServers(folder) as first, psycopg.connect(first.postgres.url) as connection:
        connection.execute("CREATE TABLE kept AS SELECT 42 AS answer")
    with LocalServers(folder) as second, psycopg.connect(second.postgres.url) as connection:
        assert connection.execute("SELECT answer FROM kept").fetchone() == (42,)


def test_a_second_run_on_the_same_folder_is_refused(servers: LocalServers, folder: Path) -> None:
    with pytest.raises(LocalServersError, match=rf"{folder} is in use by process {os.getpid()}"):
        LocalServers(folder).start()
    assert servers.trouble is None


def test_the_broker_comes_back_on_the_same_port(servers: LocalServers) -> None:
    url, before = servers.broker.url, servers.broker.pid
    assert urlsplit(url).port in PORTS
    servers.broker.stop()
    with pytest.raises(redis.ConnectionError):
        redis.Redis.from_url(url, retry=ONCE).ping()
    assert (servers.trouble or "").startswith("The broker does not run; the end of ")
    servers.broker.start()
    assert servers.broker.url == url
    assert servers.broker.pid != before
    assert redis.Redis.from_url(url).ping()


def test_a_server_that_dies_is_named(servers: LocalServers) -> None:
    assert servers.trouble is None
    os.kill(servers.postgres.pid or 0, signal.SIGINT)
    assert wait_until(lambda: servers.trouble is not None, seconds=30)
    assert re.match(
        r"PostgreSQL does not run; the end of .*database system is shut down$", servers.trouble or "", re.DOTALL
    )


def test_after_a_killed_run_nothing_is_left_and_the_data_are_there(folder: Path) -> None:
    parent = subprocess.Popen(
        [sys.executable, "-c", START_AND_TELL, str(folder), "600"], stdout=subprocess.PIPE, cwd=ROOT
    )
    assert parent.stdout is not None
    told = json.loads(parent.stdout.readline())
    with psycopg.connect(told["DATABASE_URL"]) as connection:
        connection.execute("CREATE TABLE kept AS SELECT 42 AS answer")
    parent.kill()
    parent.wait()
    parent.stdout.close()
    # At once, while the old servers may still be shutting down.
    with LocalServers(folder) as servers, psycopg.connect(servers.postgres.url) as connection:
        assert connection.execute("SELECT answer FROM kept").fetchone() == (42,)
        assert all(gone(pid) for pid in told["pids"])


def test_a_leftover_server_is_ended(tmp_path: Path) -> None:
    leftover = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)", "our-folder"])
    pid_file = tmp_path / "pid"
    pid_file.write_text(f"{leftover.pid}\nmore lines")
    end_leftover(pid_file, sign="our-folder", last_signal=signal.SIGTERM)
    assert leftover.wait(10) == -signal.SIGTERM
    assert not pid_file.exists()


def test_a_number_that_went_to_another_process_is_left_alone(tmp_path: Path) -> None:
    neighbour = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"])
    pid_file = tmp_path / "pid"
    pid_file.write_text(str(neighbour.pid))
    end_leftover(pid_file, sign="our-folder", last_signal=signal.SIGTERM)
    assert neighbour.poll() is None
    assert not pid_file.exists()
    neighbour.kill()
    neighbour.wait()


def test_a_stale_pid_file_does_not_hinder_the_start(folder: Path) -> None:
    """After a crash the number in it may belong to any process; here to this one."""
    with LocalServers(folder, throwaway=True):
        running_pid_file = (folder / "postgres" / "postmaster.pid").read_text()
    stale = running_pid_file.replace(running_pid_file.split("\n")[0], str(os.getpid()), 1)
    (folder / "postgres" / "postmaster.pid").write_text(stale)
    with LocalServers(folder, throwaway=True) as servers:
        assert servers.trouble is None


def test_variables_meant_for_another_server_are_ignored(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PGDATA", "/nowhere")
    monkeypatch.setenv("PGPORT", "1")
    monkeypatch.setenv("PGOPTIONS", "--no-such-option")
    servers = LocalServers(folder, throwaway=True)
    servers.folder.hold()
    servers.postgres._ensure_files(servers.postgres._account())
    assert (folder / "postgres" / "PG_VERSION").read_text().strip() == "18"
    servers.stop()


def test_a_port_lost_to_a_neighbour_is_replaced(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.socket() as neighbour:
        neighbour.bind(("127.0.0.1", 0))
        neighbour.listen()
        taken, free = neighbour.getsockname()[1], [free_port(), free_port()]
        offered = iter([taken, free[0], taken, free[1]])
        monkeypatch.setattr("homedialysis.local.tools.free_port", lambda: next(offered))
        with LocalServers(folder, throwaway=True) as servers:
            assert [urlsplit(url).port for url in (servers.postgres.url, servers.broker.url)] == free


def test_a_port_taken_while_the_broker_was_away_is_told(servers: LocalServers) -> None:
    servers.broker.stop()
    with socket.socket() as neighbour:
        neighbour.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        neighbour.bind(("127.0.0.1", urlsplit(servers.broker.url).port))
        neighbour.listen()
        with pytest.raises(LocalServersError, match=r"broker did not start on port \d+:\n(.|\n)*already in use"):
            servers.broker.start()


def test_damaged_data_are_not_used(folder: Path) -> None:
    (folder / "postgres").mkdir(parents=True)
    with pytest.raises(LocalServersError, match="postgres is damaged: remove it or choose another data folder"):
        LocalServers(folder).start()


def test_a_missing_package_is_named_with_the_cure() -> None:
    with pytest.raises(LocalServersError, match="no-such-package is not installed: install requirements-local"):
        package_folder("no_such_package")


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(LocalServersError, match="file/data cannot be used: Not a directory"):
        LocalServers(tmp_path / "file" / "data").start()


def test_wiping_removes_our_data_and_nothing_else(folder: Path) -> None:
    with LocalServers(folder, throwaway=True):
        (folder / "letters").mkdir()
    servers = LocalServers(folder)
    servers.folder.wipe()
    servers.folder.release()
    assert {path.name for path in folder.iterdir()} == {MARKER, "lock", "letters"}


def test_wiping_refuses_a_folder_of_somebody_else(tmp_path: Path) -> None:
    (tmp_path / "postgres").mkdir()
    with pytest.raises(LocalServersError, match="was not made by this program"):
        LocalServers(tmp_path).folder.wipe()
    assert (tmp_path / "postgres").exists()


def test_wiping_refuses_a_folder_in_use(servers: LocalServers, folder: Path) -> None:
    with pytest.raises(LocalServersError, match="in use"):
        LocalServers(folder).folder.wipe()
    assert servers.trouble is None


@pytest.mark.skipif(not AS_ROOT, reason="only root has to run PostgreSQL as somebody else")
def test_for_root_the_way_to_the_data_is_opened_and_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    closed = tmp_path / "closed"
    data = closed / "data"
    data.mkdir(parents=True)
    for each in (closed, data):
        each.chmod(0o700)
    open_way(data, Account("nobody", 65534, 65534))
    assert stat.S_IMODE(closed.stat().st_mode) == 0o701
    assert stat.S_IMODE(data.stat().st_mode) == 0o701
    told = capsys.readouterr().err
    assert f"other accounts may now pass through {closed}" in told
    assert str(data) not in told


def _start_as(account: Account, data: Path, answer: Connection) -> None:
    os.setgroups([])
    os.setgid(account.gid)
    os.setuid(account.uid)
    with LocalServers(data, throwaway=True) as servers:
        answer.send(pids(servers))


@pytest.mark.skipif(not AS_ROOT, reason="a normal user runs all the other tests as one")
def test_a_normal_user_runs_them_too(servers: LocalServers, tmp_path: Path) -> None:
    """In a copy of this process that gives up its rights; the running pair has loaded all that it needs."""
    account = Account("nobody", 65534, 65534)
    data = tmp_path / "own"
    data.mkdir()
    os.chown(data, account.uid, account.gid)
    receiver, sender = Pipe(duplex=False)
    copy = get_context("fork").Process(target=_start_as, args=(account, data, sender))
    copy.start()
    copy.join(60)
    assert copy.exitcode == 0
    assert all(gone(pid) for pid in receiver.recv())
    assert (data / "broker").stat().st_uid == account.uid
    assert servers.trouble is None


def test_a_stubborn_program_and_what_it_started_are_ended_by_force(tmp_path: Path) -> None:
    script = (
        "import signal, subprocess, sys, time\n"
        "signal.signal(signal.SIGTERM, signal.SIG_IGN)\n"
        "inner = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(600)'])\n"
        "print(inner.pid, flush=True)\n"
        "time.sleep(600)\n"
    )
    child = Child("stubborn", [sys.executable, "-c", script], tmp_path / "log", os.environ, tmp_path, stop_seconds=0.5)
    child.start()
    assert child.process is not None
    assert wait_until(lambda: child.last_lines().strip().isdigit(), seconds=20)
    both = [child.process.pid, int(child.last_lines())]
    child.stop()
    assert wait_until(lambda: all(gone(pid) for pid in both), seconds=10)


def _run_command(*command: str) -> subprocess.CompletedProcess[str]:
    arguments = [sys.executable, "-m", "homedialysis.local.servers", "run", "--", *command]
    return subprocess.run(arguments, capture_output=True, text=True, check=False, cwd=ROOT)


def test_a_command_finds_the_addresses_and_its_exit_code_is_kept() -> None:
    script = (
        "import os, psycopg, redis\n"
        "psycopg.connect(os.environ['DATABASE_URL']).close()\n"
        "redis.Redis.from_url(os.environ['BROKER_URL']).ping()\n"
        "raise SystemExit(7)"
    )
    ran = _run_command(sys.executable, "-c", script)
    assert ran.returncode == 7, ran.stderr


def test_a_command_that_does_not_exist_is_told() -> None:
    ran = _run_command("no-such-command")
    assert ran.returncode == 1
    assert "no-such-command" in ran.stderr
    assert "Traceback" not in ran.stderr


PLUGIN_RUN = [sys.executable, "-m", "pytest", "-p", "homedialysis.local.pytest_plugin", "-p", "no:django", "-q"]
LOOK = """
import os, time, psycopg
from pathlib import Path

def test_it():
    connection = psycopg.connect(os.environ["DATABASE_URL"])
    pid = connection.execute("SELECT pg_postmaster_start_time(), current_setting('fsync')").fetchone()
    assert pid[1] == "off"
    if os.environ.get("LINGER"):
        Path("begun").write_text(os.environ["DATABASE_URL"])
        time.sleep(600)
"""


def _plugin_environment(**more: str) -> dict[str, str]:
    given = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "BROKER_URL")}
    leave_out = [name for name in given if name.startswith("PYTEST_")]
    for name in leave_out:
        del given[name]
    return given | {"PYTHONPATH": str(ROOT)} | more


def test_a_test_run_gets_servers_and_shares_them_with_its_processes(tmp_path: Path) -> None:
    (tmp_path / "test_look.py").write_text(LOOK)
    (tmp_path / "pytest.ini").write_text("[pytest]\n")
    ran = subprocess.run(
        [*PLUGIN_RUN, "-n", "2"], capture_output=True, text=True, check=False, cwd=tmp_path, env=_plugin_environment()
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "1 passed" in ran.stdout


def test_half_an_environment_is_refused(tmp_path: Path) -> None:
    (tmp_path / "pytest.ini").write_text("[pytest]\n")
    environment = _plugin_environment(DATABASE_URL="postgresql://127.0.0.1/x")
    ran = subprocess.run(PLUGIN_RUN, capture_output=True, text=True, check=False, cwd=tmp_path, env=environment)
    assert ran.returncode == pytest.ExitCode.USAGE_ERROR
    assert "Only DATABASE_URL is set" in ran.stderr


def test_an_interrupted_test_run_leaves_no_server(tmp_path: Path) -> None:
    (tmp_path / "test_look.py").write_text(LOOK)
    (tmp_path / "pytest.ini").write_text("[pytest]\n")
    run = subprocess.Popen(
        PLUGIN_RUN,
        stdout=subprocess.DEVNULL,
        cwd=tmp_path,
        env=_plugin_environment(LINGER="1", TMPDIR=str(tmp_path)),
        preexec_fn=partial(signal.signal, signal.SIGINT, signal.SIG_DFL),  # a run in the background inherits deafness
    )
    assert wait_until(lambda: (tmp_path / "begun").exists(), seconds=240)
    started = [each.pid for each in psutil.Process(run.pid).children(recursive=True)]
    assert len(started) >= 2
    run.send_signal(signal.SIGINT)
    assert run.wait(240) == pytest.ExitCode.INTERRUPTED
    assert all(gone(pid) for pid in started)
    assert list(tmp_path.glob("homedialysis-*")) == []
