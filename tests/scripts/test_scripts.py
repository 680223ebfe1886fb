"""The bedside's pure scripts, run by node without a browser: thousands of cases in a second or two."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from homedialysis.accounts.models import Unit
from tests.scripts.tables import all_tables

HERE = Path(__file__).parent
OLDEST = 18
"""The node of Debian 12: the first here with a runner for tests and a way to say what is a module."""


def _node() -> str:
    """Where node lies. Skips where it is missing, unless REQUIRE_BROWSER=1 says all must run."""
    found = shutil.which("node")
    missing = "" if found else "node is not here to run the scripts"
    if found:
        version = subprocess.run([found, "--version"], capture_output=True, text=True, check=True).stdout
        if int(version[1:].partition(".")[0]) < OLDEST:
            missing = f"node {version.strip()} is too old to run the scripts: {OLDEST} is needed"
    if missing and os.environ.get("REQUIRE_BROWSER") == "1":
        pytest.fail(missing)
    if missing or found is None:
        pytest.skip(missing)
    return found


@pytest.mark.django_db
def test_the_scripts_hold_outside_a_browser(unit: Unit, tmp_path: Path) -> None:
    tables = tmp_path / "tables.json"
    tables.write_text(json.dumps(all_tables(unit)), encoding="utf-8")
    files = sorted(str(path) for path in HERE.glob("*.test.mjs"))
    environment = os.environ | {"TABLES": str(tables), "TZ": "UTC", "NO_COLOR": "1"}
    ran = subprocess.run(
        [_node(), "--import", str(HERE / "as_modules.mjs"), "--test", *files],
        env=environment,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert ran.returncode == 0, f"{ran.stdout[-8000:]}\n{ran.stderr[-2000:]}"
    counted = re.search(r"^\W*tests (\d+)$", ran.stdout, re.MULTILINE)
    assert counted is not None, ran.stdout[-2000:]
    assert int(counted[1]) >= 50, "no file of tests was passed over"
