"""A real PostgreSQL and a real broker on this machine, out of installed packages, for demo and tests.

    with LocalServers(Path(".local")) as servers:
        servers.postgres.url, servers.broker.url

    python -m homedialysis.local.servers run -- python manage.py check

Both listen on 127.0.0.1 only, ask for a password made at random, and end with the process that started
them. While they run, `servers.json` in the data folder tells their addresses (read by settings.py).
"""

from __future__ import annotations

import argparse
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from types import TracebackType
from typing import Self

from homedialysis.local.broker import LocalBroker
from homedialysis.local.data_folder import DataFolder
from homedialysis.local.postgres import LocalPostgres
from homedialysis.local.processes import last_lines, tied_to_this_process
from homedialysis.local.tools import LocalServersError

__all__ = ["LocalServers", "LocalServersError", "throwaway_servers"]


class LocalServers:
    """PostgreSQL and broker on one data folder, which they hold for themselves while they run.

    data: the folder, made when missing; a second start on it finds the data of the first.
    throwaway: faster and careless of power cuts, for data that nobody will miss.
    """

    def __init__(self, data: Path, *, throwaway: bool = False) -> None:
        self.folder = DataFolder(data)
        self.postgres = LocalPostgres(self.folder.path, throwaway=throwaway)
        self.broker = LocalBroker(self.folder.path)

    @property
    def environment(self) -> dict[str, str]:
        return {"DATABASE_URL": self.postgres.url, "BROKER_URL": self.broker.url}

    @property
    def trouble(self) -> str | None:
        """Which server should run and does not, with the end of its log; None while all is well."""
        for server in (self.postgres, self.broker):
            if not server.running:
                return f"{server.name} does not run; the end of {server.log}:\n{last_lines(server.log)}"
        return None

    def start(self) -> None:
        """Raises LocalServersError: folder in use or not writable, package missing, server not coming up."""
        self.folder.hold()
        try:
            self.postgres.start()
            self.broker.start()
            self.folder.tell_addresses(database_url=self.postgres.url, broker_url=self.broker.url)
        except BaseException:
            self.stop()
            raise

    def stop(self) -> None:
        """Leaves no process; harmless when nothing runs."""
        self.broker.stop()
        self.postgres.stop()
        self.folder.release()

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()


@contextmanager
def throwaway_servers() -> Iterator[LocalServers]:
    """Servers on a temporary folder that goes with them."""
    with tempfile.TemporaryDirectory(prefix="homedialysis-") as folder, ExitStack() as stack:
        yield stack.enter_context(LocalServers(Path(folder), throwaway=True))


def run(command: Sequence[str], data: Path | None) -> int:
    """Run one command with the servers' addresses in its environment; its exit code."""
    with ExitStack() as stack:
        servers = stack.enter_context(LocalServers(data) if data else throwaway_servers())
        process = subprocess.Popen(  # noqa: S603 - the command that was asked for
            command, env=os.environ | servers.environment, preexec_fn=tied_to_this_process(signal.SIGTERM)
        )
        stack.enter_context(process)
        stack.callback(process.terminate)
        signal.signal(signal.SIGTERM, lambda number, frame: process.terminate())
        return process.wait()


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m homedialysis.local.servers", description=__doc__)
    run_parser = parser.add_subparsers(dest="action", required=True).add_parser(
        "run", help="run a command with DATABASE_URL and BROKER_URL set, then stop the servers"
    )
    run_parser.add_argument("--data", type=Path, help="folder of the data (default: a temporary one)")
    run_parser.add_argument("command", nargs="+", help="the command, after --")
    options = parser.parse_args(arguments)
    try:
        return run(options.command, options.data)
    except (LocalServersError, OSError) as problem:
        sys.stderr.write(f"{problem}\n")
        return 1


if __name__ == "__main__":
    sys.exit(main())
