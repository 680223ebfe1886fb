"""What refuses somebody is marked for translation: the words of each error in the rooms that serve patients.

FHIR is left out: its diagnostics are read by programs and whoever writes them, and stay in the words of the standard.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings

ROOMS = (
    "sessions/api", "sessions/services", "sessions/models", "sessions/facts", "sessions/pages", "dosing/api",
    "alerts/services", "alerts/pages", "homedialysis/accounts", "homedialysis/web",
)  # fmt: skip
READ_BY_PROGRAMS = ("dosing/api/fhir.py",)
MARKS = {"_", "gettext", "gettext_lazy", "gettext_noop", "ngettext", "pgettext"}
BUGS = {"ValueError", "TypeError", "RuntimeError", "LookupError", "KeyError"}
"""Raised where a programmer is wrong, not a person: nobody but a log reads them."""


def sources() -> list[Path]:
    found = [path for room in ROOMS for path in sorted((settings.BASE_DIR / room).rglob("*.py"))]
    names = {path: str(path.relative_to(settings.BASE_DIR)) for path in found}
    return [path for path in found if names[path] not in READ_BY_PROGRAMS and "/migrations/" not in names[path]]


def _name(node: ast.expr | None) -> str:
    called = node.func if isinstance(node, ast.Call) else node
    return called.id if isinstance(called, ast.Name) else called.attr if isinstance(called, ast.Attribute) else ""


def _is_marked(node: ast.AST) -> bool:
    return isinstance(node, ast.Call) and _name(node) in MARKS


def _words(text: str) -> bool:
    """More than a code or a name: words with a blank between them. A moment with its zone is none."""
    return " " in text.strip() and any(letter.isalpha() for letter in text.removesuffix(" UTC"))


def _literals(node: ast.AST) -> Iterator[str]:
    """The texts in an expression that are not marked, the parts of an f-string as one."""
    if _is_marked(node):
        return
    if isinstance(node, ast.JoinedStr):
        yield "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
    elif isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    else:
        for child in ast.iter_child_nodes(node):
            yield from _literals(child)


def _assigned(function: ast.AST) -> dict[str, list[ast.expr]]:
    """What each name of a function, or of a module, stands for."""
    found: dict[str, list[ast.expr]] = {}
    for node in ast.walk(function):
        if isinstance(node, ast.Assign):
            for target in node.targets:
                if isinstance(target, ast.Name):
                    found.setdefault(target.id, []).append(node.value)
                elif isinstance(target, ast.Subscript) and isinstance(target.value, ast.Name):
                    found.setdefault(target.value.id, []).append(node.value)  # faults["at"] = …
    return found


def _said(raised: ast.expr, meanings: dict[str, list[ast.expr]]) -> Iterator[str]:
    """The unmarked texts of an error: those that stand in it, and of the names in it."""
    yield from _literals(raised)
    for node in ast.walk(raised):
        if isinstance(node, ast.Name):
            for meant in meanings.get(node.id, []):
                yield from _literals(meant)


def unmarked(source: str) -> list[str]:
    """The words of errors in a module that no translator is shown, each once."""
    tree = ast.parse(source)
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
    found: dict[str, None] = {}
    for function in functions:
        meanings = _assigned(function)
        for node in ast.walk(function):
            if isinstance(node, ast.Raise) and node.exc is not None and _name(node.exc) not in BUGS:
                found |= dict.fromkeys(filter(_words, _said(node.exc, meanings)))
            elif isinstance(node, ast.Dict):  # a refusal that is answered, not raised
                keys = [key.value if isinstance(key, ast.Constant) else "" for key in node.keys]
                for key, value in zip(keys, node.values, strict=True):
                    if key == "message":
                        found |= dict.fromkeys(filter(_words, _said(value, meanings)))
    return list(found)


@pytest.mark.parametrize("path", sources(), ids=lambda path: str(path.relative_to(settings.BASE_DIR)))
def test_every_refusal_is_marked_for_translation(path: Path) -> None:
    assert unmarked(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("body", "found"),
    [
        ('raise Refused("Too many of them.")', ["Too many of them."]),
        ('raise Refused(f"{n} are too many.")', ["{} are too many."]),
        ('raise Refused({"n": "Too many."})', ["Too many."]),
        ('why = "Too many."\n    raise Refused({"n": why % n})', ["Too many."]),
        ('faults = {}\n    faults["n"] = "Too many."\n    raise Refused(faults)', ["Too many."]),
        ('return {"field": "n", "message": f"{n} is no UUID."}', ["{} is no UUID."]),
        ('raise Refused(_("Too many: %(n)s.") % {"n": f"{n:%H:%M}"})', []),
        ('why = gettext("Too many.")\n    raise Refused(why)', []),
        ('raise ValueError("a programmer gave no key")', []),
        ('raise Refused("code")', []),
    ],
)
def test_the_walk_finds_what_is_not_marked(body: str, found: list[str]) -> None:
    assert unmarked(f"def refuse(n):\n    {body}\n") == found
