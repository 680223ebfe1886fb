"""README.md keeps its promise: two commands to copy, and they name what is there."""

from __future__ import annotations

import re
import subprocess
import tomllib
from pathlib import Path

import pytest
from django.conf import settings

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "homedialysis" / "docs"
README = (ROOT / "README.md").read_text()
COMMANDS = re.findall(
    r"^```sh\n(.*?)^```$", README.split("\n## Start\n")[1].split("\n## ")[0], re.MULTILINE | re.DOTALL
)


def test_start_shows_two_commands_of_one_line_each() -> None:
    assert len(COMMANDS) == 2
    assert all(command.count("\n") == 1 for command in COMMANDS)
    assert COMMANDS[0].strip().endswith("manage.py demo")
    assert "pytest" in COMMANDS[1]


def test_before_them_stands_only_what_it_is_for() -> None:
    before = README.split("\n## Start\n")[0]
    assert re.fullmatch(r"# [^\n]+\n\n[^\n#](?:[^\n]|\n(?!\n))+\n", before), "a title and one paragraph"


@pytest.mark.parametrize("command", COMMANDS)
def test_what_they_install_is_pinned_by_hash(command: str) -> None:
    assert "--require-hashes" in command
    (lock,) = re.findall(r"-r (\S+)", command)
    pins = re.findall(r"^([\w.-]+)==\S+.*\\\n    --hash=sha256:", (ROOT / lock).read_text(), re.MULTILINE)
    lines = [line for line in (ROOT / lock).read_text().splitlines() if re.match(r"\S", line)]
    assert len(pins) == len(lines) > 20
    assert "://" not in (ROOT / lock).read_text()


def test_the_checks_run_the_second_as_it_stands() -> None:
    """The function of .ci/run itself is asked."""
    script = 'source <(sed -n "/^readme_test_command/,/^}/p" .ci/run) && readme_test_command'
    found = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=True, cwd=ROOT)
    assert found.stdout == COMMANDS[1]


def test_its_pictures_are_there_small_and_told_in_words() -> None:
    shown = re.findall(r'<img src="([^"]+)" width="\d+" alt="([^"]+)">', README)
    assert len(shown) == README.count("<img") >= 4
    assert all(len(words) > 40 for _, words in shown)
    assert all(0 < (ROOT / path).stat().st_size < 80_000 for path, _ in shown)
    kept = {path.name for path in (ROOT / "homedialysis/demo/pictures").iterdir()}
    assert kept == {Path(path).name for path, _ in shown}, "none that nobody sees"


DOCUMENTS = [
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    *(f"homedialysis/docs/{path.name}" for path in DOCS.iterdir()),
]


def test_each_recipe_has_the_test_that_proves_it() -> None:
    recipes = re.findall(
        r"^### Add a (\w+) \(`(tests/[\w/]+\.py)`\)$", (ROOT / "DEVELOPERS.md").read_text(), re.MULTILINE
    )
    assert [what for what, _ in recipes] == ["field", "number", "rule", "language"]
    assert [path for _, path in recipes if "def test_" not in (ROOT / path).read_text()] == []


def test_the_version_is_one_and_its_changes_are_told() -> None:
    told = re.findall(r"^## (\d+\.\d+\.\d+)$", (ROOT / "CHANGELOG.md").read_text(), re.MULTILINE)
    assert told[0] == settings.VERSION == tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"]


@pytest.mark.parametrize("document", DOCUMENTS)
def test_files_that_documents_name_are_there(document: str) -> None:
    text = (ROOT / document).read_text()
    named = set(re.findall(r"`((?:[\w.-]+/)*[\w-]+\.(?:py|md|yml|yaml|toml|lock|sh|txt))`", text))
    linked = set(re.findall(r"\]\(((?!https?:|#|<)[^)]+)\)", text))
    made_later = (".local", ".venv", "secrets")
    assert not {path for path in named if not path.startswith(made_later) and not (ROOT / path).exists()}
    assert not {path for path in linked if not (ROOT / document).parent.joinpath(path).exists()}
