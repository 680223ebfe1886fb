"""The house stays findable: one meaning a name, rooms instead of loose modules, imports one way."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from django.conf import settings

ROOT = Path(settings.BASE_DIR)
PACKAGES = ("alerts", "dosing", "sessions", "homedialysis")
LOOSE = {
    "alerts": {"apps", "receivers", "tasks", "urls"},
    "dosing": {"apps", "receivers", "tasks", "urls"},
    "sessions": {"apps", "signals", "urls"},
    "homedialysis": {"apps", "celery", "env", "languages", "settings", "spelling", "urls", "words", "wsgi"},
}
"""What stands at the top of a package: what Django and Celery look for there, and what all of it reads first."""
BOTH_WAYS = {
    frozenset({"dosing", "dosing/pages"}),  # a page of long work asks the task to begin; the addresses name the pages
    frozenset({"homedialysis", "homedialysis/running"}),  # the app registers its checks; a probe asks Celery
}
TWO_MEANINGS = {"Meta", "Command", "Migration"}
"""Names that Django gives."""


@cache
def trees() -> dict[str, ast.Module]:
    own = (path for package in PACKAGES for path in sorted((ROOT / package).rglob("*.py")))
    named = {path.relative_to(ROOT).as_posix(): path for path in own if "migrations" not in path.parts}
    return {name: ast.parse(path.read_text()) for name, path in named.items()}


def folder(name: str) -> str:
    return name.rpartition("/")[0]


@cache
def arrows() -> dict[str, frozenset[str]]:
    """File → the files that it imports, also inside functions and for types alone."""
    modules = {name[:-3].replace("/", ".").removesuffix(".__init__"): name for name in trees()}

    def target(dotted: str) -> str | None:
        while dotted and dotted not in modules:
            dotted = dotted.rpartition(".")[0]
        return modules.get(dotted)

    found: dict[str, set[str]] = defaultdict(set)
    for name, tree in trees().items():
        found[name] |= {to for dotted in imported(tree) if (to := target(dotted)) and to != name}
    return {name: frozenset(to) for name, to in found.items()}


def imported(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (each.name for each in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield from (f"{node.module}.{each.name}" for each in node.names)


def reached(start: str) -> set[str]:
    found: set[str] = set()
    ahead = list(arrows()[start])
    while ahead:
        name = ahead.pop()
        if name not in found:
            found.add(name)
            ahead += arrows().get(name, ())
    return found


def test_there_is_something_to_judge() -> None:
    assert len(trees()) > 300
    assert sum(map(len, arrows().values())) > 1000


def test_no_class_has_two_meanings() -> None:
    places: dict[str, set[str]] = defaultdict(set)
    for name, tree in trees().items():
        for node in tree.body:
            if isinstance(node, ast.ClassDef):
                places[node.name].add(name)
    assert {name: sorted(where) for name, where in places.items() if len(where) > 1 and name not in TWO_MEANINGS} == {}


def test_no_modules_need_each_other() -> None:
    assert [name for name in arrows() if name in reached(name)] == []


def test_folders_import_one_way() -> None:
    pairs = {(folder(a), folder(b)) for a, all_b in arrows().items() for b in all_b if folder(a) != folder(b)}
    assert {frozenset(pair) for pair in pairs if pair[::-1] in pairs} == BOTH_WAYS


def test_modules_have_their_rooms() -> None:
    for package, wanted in LOOSE.items():
        top = {Path(name).stem for name in trees() if folder(name) == package}
        assert top - {"__init__"} == wanted


def test_functions_are_small() -> None:
    for name, tree in trees().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                body = node.body[1:] if ast.get_docstring(node) else node.body
                length = (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0
                assert length <= 40, f"{name}: {node.name}"
