"""Child processes that end with their parent, whatever happens to it."""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

PR_SET_PDEATHSIG = 1  # Linux, prctl(2): the signal a process gets when the thread that made it ends


@dataclass(frozen=True)
class Account:
    """The operating-system account that a child runs as."""

    name: str
    uid: int
    gid: int


def tied_to_this_process(last_signal: signal.Signals) -> Callable[[], None] | None:
    """What a child calls before its program starts, so that it cannot outlive this process (Linux only)."""
    if sys.platform != "linux":
        return None
    libc = ctypes.CDLL(None)
    parent = os.getpid()

    def tie() -> None:
        libc.prctl(PR_SET_PDEATHSIG, int(last_signal))
        if os.getppid() != parent:  # it ended before the line above took hold
            os._exit(1)

    return tie


@dataclass
class Child:
    """One program in a process group of its own, writing to a log file (or, without one, to our stderr).

    A group of its own keeps the terminal's Ctrl-C away from it: the parent alone decides the order of
    stopping, and can end what the program itself left behind.
    """

    name: str
    command: Sequence[str]
    log: Path | None
    env: Mapping[str, str]
    cwd: Path
    account: Account | None = None
    stop_signal: signal.Signals = signal.SIGTERM
    stop_seconds: float = 20.0
    process: subprocess.Popen[bytes] | None = field(default=None, init=False)
    _log_start: int = field(default=0, init=False)

    def start(self) -> None:
        """Raises OSError when the program cannot be run."""
        with (self.log or Path(os.devnull)).open("ab") as log:
            self._log_start = log.tell()
            self.process = subprocess.Popen(  # noqa: S603 - callers pass commands of their own
                self.command,
                stdin=subprocess.DEVNULL,
                stdout=log if self.log else sys.stderr,
                stderr=subprocess.STDOUT,
                env=dict(self.env),
                cwd=self.cwd,
                start_new_session=True,
                preexec_fn=tied_to_this_process(self.stop_signal),
                user=self.account.uid if self.account else None,
                group=self.account.gid if self.account else None,
                extra_groups=[] if self.account else None,
            )

    @property
    def exit_code(self) -> int | None:
        """None while it runs, or before it was started; minus the signal's number when a signal ended it."""
        return self.process.poll() if self.process else None

    @property
    def running(self) -> bool:
        return self.process is not None and self.process.poll() is None

    def wait(self, seconds: float) -> int:
        """The exit code; raises TimeoutExpired when it is still running after that many seconds."""
        assert self.process is not None
        return self.process.wait(seconds)

    def ask_to_stop(self) -> None:
        if self.running and self.process:
            self.process.send_signal(self.stop_signal)

    def stop(self) -> None:
        """Ask, wait, then end by force it and all that is left of its group."""
        if self.process is None:
            return
        self.ask_to_stop()
        with suppress(subprocess.TimeoutExpired):
            self.process.wait(self.stop_seconds)
        end_group(self.process.pid)
        self.process.wait()
        self.process = None

    def last_lines(self) -> str:
        """The end of what it wrote to its log since its last start."""
        return last_lines(self.log, since=self._log_start) if self.log else ""


class Server(ABC):
    """One server as a child process on a port of this machine.

    Subclasses say in `_answers` how to find out whether it serves, and name it.
    """

    name: str

    def __init__(self) -> None:
        self._port = 0
        self._child: Child | None = None

    @property
    def running(self) -> bool:
        return self._child is not None and self._child.running

    @property
    def pid(self) -> int | None:
        return self._child.process.pid if self._child and self._child.process else None

    def stop(self) -> None:
        if self._child:
            self._child.stop()
            self._child = None

    def _begin(self, child: Child) -> None:
        self._child = child
        child.start()

    def _came_up(self) -> str | None:
        """None when it answers within 60 seconds; else it is stopped, and this is what it wrote."""
        assert self._child is not None
        if wait_until(lambda: self._answers() or not self.running, seconds=60) and self.running:
            return None
        lines = self._child.last_lines()
        self.stop()
        return f"{self.name} did not start on port {self._port}:\n{lines}"

    @abstractmethod
    def _answers(self) -> bool:
        """Whether it takes a request now."""


def stop_all(children: Sequence[Child]) -> None:
    """Ask all at once, so that their waiting times do not add up."""
    for child in children:
        child.ask_to_stop()
    for child in children:
        child.stop()


def end_group(group: int) -> None:
    """SIGKILL to what remains of a process group; nothing when it is empty."""
    with suppress(ProcessLookupError, PermissionError):  # macOS says the latter of a group of zombies
        os.killpg(group, signal.SIGKILL)


def last_lines(log: Path, *, since: int = 0, count: int = 25) -> str:
    """The end of a log file, of what was written after that many bytes."""
    with log.open("rb") as content:
        content.seek(since)
        text = content.read().decode(errors="replace")
    return "\n".join(text.splitlines()[-count:])


def wait_until(condition: Callable[[], bool], *, seconds: float, pause: float = 0.05) -> bool:
    """Whether the condition came true within that many seconds."""
    deadline = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > deadline:
            return False
        time.sleep(pause)
    return True
