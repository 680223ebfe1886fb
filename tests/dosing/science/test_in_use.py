"""No public function of the science is there for tests alone: the product calls it, or a function that it calls."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

HOUSE = Path(__file__).resolve().parents[3]
SCIENCE = HOUSE / "dosing" / "science"
OUTSIDE = ("dosing", "alerts", "sessions", "homedialysis")


def names_in(node: ast.AST) -> set[str]:
    """Every name and attribute that a piece of code mentions."""
    found = {each.id for each in ast.walk(node) if isinstance(each, ast.Name)}
    found |= {each.attr for each in ast.walk(node) if isinstance(each, ast.Attribute)}
    return found | {each.name for each in ast.walk(node) if isinstance(each, ast.alias)}


def of_science() -> tuple[dict[str, set[str]], set[str]]:
    """What each function or class mentions, by its name; and the names of the public functions."""
    mentions: dict[str, set[str]] = defaultdict(set)
    public = set()
    for path in SCIENCE.glob("*.py"):
        for node in ast.parse(path.read_text()).body:
            for name in declared(node):
                mentions[name] |= names_in(node) - {name}
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                public.add(node.name)
    return mentions, public


def declared(node: ast.stmt) -> list[str]:
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        return [node.name]
    if isinstance(node, ast.Assign):
        return [each.id for each in node.targets if isinstance(each, ast.Name) and each.id != "__all__"]
    return [node.target.id] if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name) else []


def asked_for_outside() -> set[str]:
    found: set[str] = set()
    for part in OUTSIDE:
        for path in (HOUSE / part).rglob("*.py"):
            if SCIENCE not in path.parents and "migrations" not in path.parts:
                found |= asked_of_science(ast.parse(path.read_text()))
    return found


def asked_of_science(tree: ast.Module) -> set[str]:
    """What a module takes from the science: by name, or as a part of one of its modules."""
    taken: set[str] = set()
    modules: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module == "dosing.science":
            modules |= {each.asname or each.name for each in node.names}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("dosing.science."):
            taken |= {each.name for each in node.names}
    parts = (node for node in ast.walk(tree) if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name))
    return taken | {node.attr for node in parts if node.value.id in modules}  # type: ignore[attr-defined]


def in_use(mentions: dict[str, set[str]], roots: set[str]) -> set[str]:
    reached, waiting = set(), set(roots)
    while waiting:
        name = waiting.pop()
        reached.add(name)
        waiting |= mentions.get(name, set()) - reached
    return reached


def test_every_public_function_of_the_science_is_in_use() -> None:
    mentions, public = of_science()
    assert sorted(public - in_use(mentions, asked_for_outside())) == []


def test_a_function_that_nobody_calls_would_be_found() -> None:
    mentions = {"asked": {"helper"}, "helper": set(), "alone": {"asked"}}
    assert in_use(mentions, {"asked"}) == {"asked", "helper"}


def test_a_word_that_is_also_a_function_of_the_science_is_no_call_of_it() -> None:
    tree = ast.parse(
        "from dosing.science import body\nfrom dosing.science.kidney import urea_clearance\nfit = body.watson"
    )
    assert asked_of_science(tree) == {"urea_clearance", "watson"}
