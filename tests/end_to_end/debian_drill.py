"""The installation on Debian's own packages, as docs/operating.md has it, tried by an ordinary user on free ports.

Reads the files of homedialysis/deploy/debian and runs what they say: roles and database by database.sql, the ExecStart
lines of the units with the environment of environment.example, nginx by nginx.conf with a certificate of its own. Only
paths, ports, names and passwords are put in. There is no systemd in it: what the units forbid is not tried.

    venv/bin/python -m tests.end_to_end.debian_drill     (the environment of requirements.lock; not as root)

Needs postgresql (15 or later), redis-server or valkey-server, nginx and openssl.
"""

from __future__ import annotations

import os
import re
import secrets
import shlex
import shutil
import socket
import ssl
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DEBIAN = ROOT / "homedialysis" / "deploy" / "debian"
PROGRAMS = Path(sys.executable).parent
SERVICES = ("web", "now", "later", "beat")
PATIENCE = 120.0
"""Seconds to wait until everything answers."""


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as held:
        return int(held.getsockname()[1])


def exec_lines(name: str) -> list[list[str]]:
    """The commands of a unit file, with the programs of this environment."""
    text = (DEBIAN / f"homedialysis-{name}.service").read_text()
    found = re.findall(r"^ExecStart=(.*)$", text, re.MULTILINE)
    return [
        shlex.split(line.replace("/opt/homedialysis/.venv/bin", str(PROGRAMS)).replace("%%", "%")) for line in found
    ]


def environment_of(name: str) -> dict[str, str]:
    lines = (DEBIAN / name).read_text().splitlines()
    return dict(line.split("=", 1) for line in lines if line and not line.startswith("#"))


class Drill:
    """Everything in one folder, which is thrown away."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.web, self.database, self.broker, self.https, self.http = (free_port() for _ in range(5))
        self.passwords = {name: secrets.token_urlsafe(24) for name in ("superuser", "owner_password", "password")}
        for part in ("data", "static", "secrets", "run", "nginx"):
            (folder / part).mkdir()

    @property
    def site(self) -> str:
        return f"https://localhost:{self.https}"

    def secret(self, name: str, value: str) -> str:
        path = self.folder / "secrets" / name
        path.write_text(value)
        path.chmod(0o400)
        return str(path)

    def environment(self, *, owner: bool = False) -> dict[str, str]:
        """As the unit gets it: the example with this drill's places, and nothing of the account that runs it."""
        given = environment_of("environment.example") | (environment_of("owner.environment.example") if owner else {})
        here = {
            "SITE_ADDRESS": self.site,
            "DATABASE_URL": given["DATABASE_URL"].replace(":5432", f":{self.database}"),
            "DATABASE_PASSWORD_FILE": str(self.folder / "secrets" / ("owner_password" if owner else "password")),
            "BROKER_URL": f"redis://127.0.0.1:{self.broker}/0",
            "SECRET_KEY_FILE": str(self.folder / "secrets" / "secret_key"),
            "PUSH_KEY_FILE": str(self.folder / "secrets" / "push_key"),
            "EMAIL_PASSWORD_FILE": str(self.folder / "secrets" / "email_password"),
            "EMAIL_HOST": "127.0.0.1",
            "EMAIL_PORT": str(free_port()),
            "DATA_DIR": str(self.folder / "data"),
            "BEAT_SCHEDULE_FILE": str(self.folder / "data" / "beat-schedule"),
            "STATIC_ROOT": str(self.folder / "static"),
        }
        unknown = here.keys() - given.keys()
        assert not unknown, f"the example does not name {unknown}"
        plain = {"PATH": os.environ["PATH"], "LANG": "C.UTF-8", "SSL_CERT_FILE": str(self.folder / "cert.pem")}
        return plain | given | here

    def run(self, command: list[str], *, owner: bool = False, check: bool = True, **more: str) -> str:
        done = subprocess.run(
            command, env=self.environment(owner=owner) | more, cwd=ROOT, capture_output=True, text=True, check=False
        )
        if check and done.returncode:
            raise SystemExit(f"{shlex.join(command)} ended with {done.returncode}:\n{done.stdout}\n{done.stderr}")
        return done.stdout + done.stderr

    @contextmanager
    def running(self, name: str, command: list[str]) -> Iterator[None]:
        """A process of this drill, ended by its own id."""
        with (self.folder / f"{name}.log").open("wb") as log:
            child = subprocess.Popen(command, env=self.environment(), cwd=ROOT, stdout=log, stderr=log)
            try:
                yield
            finally:
                child.terminate()
                try:
                    child.wait(30)
                except subprocess.TimeoutExpired:
                    child.kill()

    @contextmanager
    def postgres(self) -> Iterator[None]:
        folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda each: int(each.parent.name))
        programs, data = folders[-1], self.folder / "postgres"
        key = self.secret("superuser", self.passwords["superuser"])
        self.run(
            [str(programs / "initdb"), "-D", str(data), "-U", "postgres", "-A", "scram-sha-256", f"--pwfile={key}"]
        )
        server = [str(programs / "postgres"), "-D", str(data), "-p", str(self.database), "-k", str(self.folder / "run")]
        with self.running("postgres", [*server, "-c", "listen_addresses=127.0.0.1"]):
            for _ in range(60):
                if "accepting" in self.run(["pg_isready", "-h", "127.0.0.1", "-p", str(self.database)], check=False):
                    break
                time.sleep(0.5)
            made = [f"-v{name}={self.passwords[name]}" for name in ("owner_password", "password")]
            self.psql("postgres", "postgres", *made, "-f", str(DEBIAN / "database.sql"))
            yield

    def psql(self, role: str, database: str, *more: str, check: bool = True) -> str:
        names = {"postgres": "superuser", "homedialysis_owner": "owner_password", "homedialysis": "password"}
        where = ["-h", "127.0.0.1", "-p", str(self.database), "-U", role, "-d", database, "-At"]
        return self.run(["psql", *where, *more], check=check, PGPASSWORD=self.passwords[names[role]])

    def nginx(self) -> list[str]:
        """nginx.conf with this drill's ports, name and certificate, below the few lines that run it as this user."""
        text = (DEBIAN / "nginx.conf").read_text()
        text = re.sub(r"\n *listen \[::\][^\n]*", "", text)
        for old, new in (
            ("listen 80;", f"listen 127.0.0.1:{self.http};"),
            ("listen 443 ssl;", f"listen 127.0.0.1:{self.https} ssl;"),
            ("unit.example.org", "localhost"),
            ("/etc/ssl/homedialysis/fullchain.pem", str(self.folder / "cert.pem")),
            ("/etc/ssl/homedialysis/privkey.pem", str(self.folder / "key.pem")),
            ("127.0.0.1:8000", f"127.0.0.1:{self.web}"),
            ("Host $host;", "Host $http_host;"),  # the port is part of the name here
        ):
            assert old in text, old
            text = text.replace(old, new)
        at = self.folder / "nginx"
        ways = "".join(
            f"{each}_temp_path {at}/{each};\n" for each in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
        )
        head = f"pid {at}/pid;\nerror_log stderr;\ndaemon off;\nevents {{}}\nhttp {{\naccess_log off;\n{ways}"
        (at / "nginx.conf").write_text(f"{head}{text}}}\n")
        return [shutil.which("nginx") or "/usr/sbin/nginx", "-p", str(at), "-c", str(at / "nginx.conf"), "-e", "stderr"]

    def certificate(self) -> None:
        self.run([
            "openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "30", "-subj", "/CN=localhost",
            "-addext", "subjectAltName=DNS:localhost", "-keyout", str(self.folder / "key.pem"),
            "-out", str(self.folder / "cert.pem"),
        ])  # fmt: skip

    def asked(self, path: str, body: bytes | None = None) -> int:
        """The status of an answer through the proxy."""
        trusted = ssl.create_default_context(cafile=str(self.folder / "cert.pem"))
        request = urllib.request.Request(f"{self.site}{path}", data=body)
        try:
            with urllib.request.urlopen(request, timeout=20, context=trusted) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as refused:
            return refused.code
        except OSError:
            return 0


def told(words: str, good: bool) -> None:
    print(f"{'good' if good else 'WRONG':<6} {words}", flush=True)  # noqa: T201
    if not good:
        raise SystemExit(1)


def rights(drill: Drill) -> None:
    """The role that serves pages reads and writes rows, and can take nothing of the history away."""
    owned = drill.psql(
        "homedialysis", "homedialysis", "-c", "SELECT count(*) FROM pg_tables WHERE tableowner = current_user"
    )
    told("the role that serves pages owns no table", owned.strip() == "0")
    for what, statement in (
        ("drop a table", "DROP TABLE accounts_readlog"),
        ("take a trigger off", "ALTER TABLE accounts_readlog DISABLE TRIGGER ALL"),
        ("make a table", "CREATE TABLE mine (id int)"),
        ("empty a table", "TRUNCATE accounts_readlog"),
    ):
        said = drill.psql("homedialysis", "homedialysis", "-c", statement, check=False)
        told(f"it cannot {what}", "must be owner" in said or "permission denied" in said)


def backup(drill: Drill) -> None:
    """Dumped and brought back as the owner: the same tables, triggers and migrations."""
    key = {"PGPASSWORD": drill.passwords["owner_password"]}
    where = ["-h", "127.0.0.1", "-p", str(drill.database), "-U", "homedialysis_owner"]
    drill.run(["pg_dump", *where, "-Fc", "-f", str(drill.folder / "backup.dump"), "homedialysis"], **key)
    drill.psql("postgres", "postgres", "-c", "CREATE DATABASE restored OWNER homedialysis_owner TEMPLATE template0")
    drill.psql("postgres", "restored", "-c", "ALTER SCHEMA public OWNER TO homedialysis_owner")
    restore = [
        "pg_restore",
        *where,
        "-d",
        "restored",
        "--no-owner",
        "--exit-on-error",
        str(drill.folder / "backup.dump"),
    ]
    drill.run(restore, **key)
    count = "SELECT count(*) FROM pg_trigger WHERE NOT tgisinternal"
    both = [drill.psql("homedialysis_owner", name, "-c", count).strip() for name in ("homedialysis", "restored")]
    told(f"a backup comes back with its {both[0]} triggers", both[0] == both[1] != "0")


def examined(drill: Drill) -> None:
    """What `doctor` says of it: nothing is wrong but the mail server, of which there is none here."""
    python = str(PROGRAMS / "python")
    deadline = time.monotonic() + PATIENCE
    while True:
        said = drill.run([python, "manage.py", "doctor"], check=False)
        wrong = [line for line in said.splitlines() if line.startswith("WRONG")]
        if all(line.startswith("WRONG  mail") for line in wrong) or time.monotonic() > deadline:
            break
        time.sleep(3)
    print(said, flush=True)  # noqa: T201
    told("doctor finds nothing wrong but the mail server that is not there", len(wrong) == 1 and "mail" in wrong[0])


def main() -> None:
    began = time.monotonic()
    if os.getuid() == 0:
        raise SystemExit("Run it as an ordinary user.")
    with tempfile.TemporaryDirectory(prefix="drill-") as name, ExitStack() as stack:
        drill = Drill(Path(name))
        for key in ("owner_password", "password"):
            drill.secret(key, drill.passwords[key])
        for key in ("secret_key", "push_key", "email_password"):
            drill.secret(key, secrets.token_urlsafe(32))
        drill.certificate()
        stack.enter_context(drill.postgres())
        broker = shutil.which("valkey-server") or shutil.which("redis-server")
        assert broker is not None
        stack.enter_context(drill.running("broker", [broker, "--port", str(drill.broker), "--save", "", "--dir", name]))
        for command in exec_lines("migrate"):
            drill.run(command, owner=True)
        told(f"tables and static files are made ({time.monotonic() - began:.0f} s)", True)
        for service in SERVICES:
            (command,) = exec_lines(service)
            here = [part.replace("127.0.0.1:8000", f"127.0.0.1:{drill.web}") for part in command]
            stack.enter_context(drill.running(service, here))
        stack.enter_context(drill.running("nginx", drill.nginx()))
        deadline = time.monotonic() + PATIENCE
        while drill.asked("/healthz") != 200 and time.monotonic() < deadline:
            time.sleep(1)
        told("the first page answers through the proxy", drill.asked("/accounts/login/") == 200)
        told("static files are there", drill.asked("/manifest.webmanifest") == 200)
        told("2 MB pass the proxy", drill.asked("/accounts/login/", b"x" * 2_000_000) in (400, 403))
        first = ["createsuperuser", "--noinput", "--email", "first@unit.example", "--name", "First"]
        drill.run([str(PROGRAMS / "python"), "manage.py", *first], DJANGO_SUPERUSER_PASSWORD=secrets.token_urlsafe(16))
        kept = drill.psql("homedialysis", "homedialysis", "-c", "SELECT count(*) FROM accounts_userevent")
        told("the first administrator is made, with a history", kept.strip() == "1")
        rights(drill)
        backup(drill)
        examined(drill)
        told(f"everything stands after {time.monotonic() - began:.0f} s", True)


if __name__ == "__main__":
    main()
