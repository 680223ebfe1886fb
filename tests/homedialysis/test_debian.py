"""The files for Debian say what the installation needs; the drill beside the end-to-end tests runs them."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.end_to_end import debian_drill as drill

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "homedialysis/docs/operating.md").read_text()


@pytest.mark.parametrize("name", [*drill.SERVICES, "migrate"])
def test_a_service_runs_as_nobody_of_importance_and_leaves_the_code_alone(name: str) -> None:
    text = (drill.DEBIAN / f"homedialysis-{name}.service").read_text()
    assert re.search(r"^User=homedialysis(-owner)?$", text, re.MULTILINE)
    for line in ("NoNewPrivileges=true", "ProtectSystem=strict", "ProtectHome=true", "PrivateTmp=true"):
        assert line in text.splitlines()
    assert "/opt/homedialysis" not in "".join(re.findall(r"ReadWritePaths=(.*)", text))
    assert ("owner.environment" in text) == (name == "migrate"), "only who migrates has the owner's password"


def test_both_queues_have_a_worker_of_its_own_name_and_beat_is_one() -> None:
    commands = {name: " ".join(line) for name in drill.SERVICES for line in drill.exec_lines(name)}
    for queue in ("now", "later"):
        assert f"--queues {queue} -n {queue}@%h" in commands[queue]
    assert [name for name, command in commands.items() if " beat " in command] == ["beat"]
    assert "--no-control-socket" in commands["web"]


def test_each_variable_of_the_examples_stands_in_the_table_of_the_page() -> None:
    table = "".join(line for line in PAGE.splitlines() if line.startswith("| `"))
    given = drill.environment_of("environment.example") | drill.environment_of("owner.environment.example")
    known = set(re.findall(r"[A-Z_]{4,}", table)) | {
        name + "_FILE" for name in re.findall(r"([A-Z_]+)\[_FILE\]", table)
    }
    assert given.keys() - known == {"DJANGO_SETTINGS_MODULE", "PYTHONDONTWRITEBYTECODE"}


def test_nginx_hands_on_what_the_product_needs() -> None:
    text = (drill.DEBIAN / "nginx.conf").read_text()
    for line in (
        "proxy_set_header Host $host;", "proxy_set_header X-Forwarded-Proto $scheme;",
        "proxy_set_header X-Forwarded-For $remote_addr;", "client_max_body_size 10m;",
    ):  # fmt: skip
        assert line in text


def test_the_role_that_serves_pages_is_given_rows_and_no_table() -> None:
    text = (drill.DEBIAN / "database.sql").read_text()
    assert "OWNER homedialysis_owner ENCODING 'UTF8'" in text
    given = re.findall(r"GRANT ([A-Z, ]+) ON (\w+) TO homedialysis;", text)
    assert {where: what for what, where in given}["TABLES"] == "SELECT, INSERT, UPDATE, DELETE"


def test_every_file_is_named_on_the_page() -> None:
    names = {path.name for path in drill.DEBIAN.iterdir()}
    assert {name for name in names if not name.endswith((".service", ".timer"))} <= set(
        re.findall(r"[a-z.]+\.(?:sql|conf|example)", PAGE)
    )
    parts = [name for name in names if name.endswith(".service") and name != "homedialysis-backup.service"]
    assert len(parts) == 5, "as many as are told of"
    assert "`homedialysis-backup.service` and `.timer`" in PAGE


def test_systemd_finds_nothing_wrong_with_the_units_but_that_nothing_is_installed_here() -> None:
    """Misspelt settings and sections are told by systemd itself; the programs of /opt are not on this machine."""
    judge = shutil.which("systemd-analyze")
    if judge is None:
        pytest.skip("systemd-analyze is not here")
    units = sorted(str(path) for path in drill.DEBIAN.glob("*.service"))
    ran = subprocess.run([judge, "verify", *units], capture_output=True, text=True, timeout=60)
    said = [line for line in ran.stderr.splitlines() if line.startswith("homedialysis") or str(drill.DEBIAN) in line]
    assert len(units) >= 5
    assert [line for line in said if "/opt/homedialysis/" not in line or "is not executable" not in line] == []
