"""The folder that holds the embedded servers' data, the demo's logs and its secrets: one run at a time."""

from __future__ import annotations

import fcntl
import json
import os
import secrets
import shutil
from pathlib import Path
from typing import IO

from homedialysis.local.tools import LocalServersError

MARKER = ".homedialysis-data"
ADDRESSES = "servers.json"
OURS = ("postgres", "postgres.new", "broker", "logs", "static", "database_password", "secret_key", ADDRESSES)
OUR_PREFIXES = ("beat-schedule",)
"""What wipe() removes: these names and nothing else, ever."""


class DataFolder:
    """Held by one process through a file lock, which goes with the process: none is ever left behind."""

    def __init__(self, path: Path) -> None:
        self.path = path.resolve()
        self._lock: IO[str] | None = None

    def hold(self) -> None:
        """Make the folder when missing and take it. Raises LocalServersError naming who holds it."""
        if self._lock:
            return
        self._lock = _locked(self.path)
        marker = self.path / MARKER
        if not marker.exists():
            marker.write_text("Made by homedialysis; `manage.py demo --fresh` empties this folder.\n")

    def release(self) -> None:
        if self._lock:
            (self.path / ADDRESSES).unlink(missing_ok=True)
            self._lock.close()
            self._lock = None

    def wipe(self) -> None:
        """Remove our data; refuses a folder in which this program never worked, or still works."""
        if self.path.exists() and any(self.path.iterdir()) and not (self.path / MARKER).exists():
            raise LocalServersError(
                f"{self.path} was not made by this program (there is no {MARKER} in it), so it is not emptied"
            )
        self.hold()
        for path in self.path.iterdir():
            if path.name in OURS or path.name.startswith(OUR_PREFIXES):
                shutil.rmtree(path) if path.is_dir() else path.unlink()

    def tell_addresses(self, *, database_url: str, broker_url: str) -> None:
        """For other commands on this machine, which find the servers by it (see settings.py)."""
        content = {"database_url": database_url, "broker_url": broker_url, "pid": os.getpid()}
        write_private(self.path / ADDRESSES, json.dumps(content))

    def secret_file(self, name: str) -> Path:
        """A file with a random secret, made at its first use."""
        path = self.path / name
        if not path.exists():
            write_private(path, secrets.token_urlsafe(48))
        return path


def write_private(path: Path, text: str) -> None:
    """Readable for its owner alone, from its first byte."""
    path.touch(mode=0o600)
    path.write_text(text, encoding="utf-8")


def _locked(folder: Path) -> IO[str]:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = (folder / "lock").open("a+", encoding="utf-8")
    except OSError as problem:
        raise LocalServersError(f"The data folder {folder} cannot be used: {problem.strerror}") from problem
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        lock.seek(0)
        holder = lock.read().strip() or "unknown"
        lock.close()
        raise LocalServersError(
            f"The data folder {folder} is in use by process {holder}: stop that one, or choose another folder"
        ) from None
    lock.truncate(0)
    lock.write(str(os.getpid()))
    lock.flush()
    return lock
