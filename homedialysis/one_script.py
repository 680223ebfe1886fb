"""One script out of many modules: a phone fetches the bedside in one piece, smaller and sooner than sixty.

For modules written as ours are: imports and exports stand at the start of a line, nothing that changes later is
exported, and none need each other in a ring. Anything else is refused, by name.
"""

from __future__ import annotations

import posixpath
import re
from collections.abc import Mapping

IMPORT = re.compile(r'^import\s+(?:(?:\{([^}]*)\}|\*\s+as\s+(\w+))\s+from\s+)?"(\.[^"]+)";[ \t]*\n?', re.MULTILINE)
DECLARED = re.compile(r"^export\s+((?:async\s+)?function\*?|const|class)\s+(\w+)", re.MULTILINE)
LISTED = re.compile(r"^export\s+\{([^}]*)\};[ \t]*\n?", re.MULTILINE)


def joined(modules: Mapping[str, str], entry: str) -> str:
    """All modules that `entry` needs, by name and text, as one. Raises ValueError for what it does not understand."""
    order = in_order(modules, entry)
    numbers = {name: number for number, name in enumerate(order)}
    return "const $ = [];\n" + "".join(_block(name, modules[name], numbers) for name in order)


def in_order(modules: Mapping[str, str], entry: str) -> list[str]:
    """The modules in the order in which a browser runs them: what one needs comes before it."""
    order: list[str] = []
    under_way: set[str] = set()

    def visit(name: str) -> None:
        if name in order:
            return
        if name not in modules or name in under_way:
            raise ValueError(f"{name} is {'needed in a ring' if name in under_way else 'not there'}")
        under_way.add(name)
        for found in IMPORT.finditer(modules[name]):
            visit(_target(name, found[3]))
        order.append(name)

    visit(entry)
    return order


def _target(name: str, given: str) -> str:
    return posixpath.normpath(posixpath.join(posixpath.dirname(name), given))


def _block(name: str, text: str, numbers: Mapping[str, int]) -> str:
    """One module as a block of its own, in which its names stay; what it exports stands in $ under its number."""
    exported = {found[2]: found[2] for found in DECLARED.finditer(text)}
    for found in LISTED.finditer(text):
        exported |= {alias: own for own, alias in _pairs(found[1])}

    def taken(found: re.Match[str]) -> str:
        holder = f"$[{numbers[_target(name, found[3])]}]"
        if found[2]:
            return f"const {found[2]} = {holder};\n"
        names = ", ".join(own if own == alias else f"{own}: {alias}" for own, alias in _pairs(found[1] or ""))
        return f"const {{ {names} }} = {holder};\n" if names else ""

    body = LISTED.sub("", DECLARED.sub(r"\1 \2", IMPORT.sub(taken, text)))
    if left := re.search(r"^(?:import|export)\b.*", body, re.MULTILINE):
        raise ValueError(f"{name}: “{left[0][:80]}” cannot be joined")
    gives = ", ".join(alias if own == alias else f"{alias}: {own}" for alias, own in exported.items())
    return f"{{\n{body}\n$[{numbers[name]}] = {{ {gives} }};\n}}\n"


def _pairs(names: str) -> list[tuple[str, str]]:
    """ "a, b as c" -> [("a", "a"), ("b", "c")]."""
    halves = [each.split(" as ") for each in re.sub(r"\s+", " ", names).split(",") if each.strip()]
    return [(half[0].strip(), half[-1].strip()) for half in halves]
