"""One script out of many modules, or two: a phone fetches the bedside in pieces, smaller and sooner than sixty.

For modules written as ours are: imports and exports stand at the start of a line, nothing that changes later is
exported, and none need each other in a ring. Anything else is refused, by name.
"""

from __future__ import annotations

import posixpath
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

IMPORT = re.compile(r'^import\s+(?:(?:\{([^}]*)\}|\*\s+as\s+(\w+))\s+from\s+)?"(\.[^"]+)";[ \t]*\n?', re.MULTILINE)
DECLARED = re.compile(r"^export\s+((?:async\s+)?function\*?|const|class)\s+(\w+)", re.MULTILINE)
LISTED = re.compile(r"^export\s+\{([^}]*)\};[ \t]*\n?", re.MULTILINE)


def joined(modules: Mapping[str, str], entry: str) -> str:
    """All modules that `entry` needs, by name and text, as one. Raises ValueError for what it does not understand."""
    order = in_order(modules, entry)
    return f"let $ = [];\n{_blocks(modules, order, _known(modules, order))}"


def in_two(modules: Mapping[str, str], entry: str, rest: str, name: str, *, opened: bool = False) -> tuple[str, str]:
    """The piece of `entry`, and the piece of what `rest` needs beside it, which imports the first by `name`.

    Opened, $ holds what each module exports, by its place in `orders`: for tests that look into the modules.
    """
    first, second = orders(modules, entry, rest)
    known = _known(modules, first + second)
    if opened:
        known = replace(known, whole=frozenset(first + second))
    taken = {own for each in second for own in _taken(each, modules[each], first)} & known.shared
    names = ", ".join(["$", *sorted(taken)])
    return (
        f"let $ = [];\n{_blocks(modules, first, known)}export {{ {names} }};\n",
        f'import {{ {names} }} from "{name}";\n{_blocks(modules, second, known)}',
    )


def orders(modules: Mapping[str, str], entry: str, rest: str) -> tuple[list[str], list[str]]:
    """The modules of the first piece, and those of the second."""
    first = in_order(modules, entry)
    return first, [each for each in in_order(modules, rest) if each not in first]


def _taken(name: str, text: str, first: Sequence[str]) -> Iterator[str]:
    """What a module of the second piece imports by name from modules of the first."""
    for found in IMPORT.finditer(text):
        if _target(name, found[3]) in first:
            yield from (own for own, _alias in _pairs(found[1] or ""))


def _blocks(modules: Mapping[str, str], order: Sequence[str], known: Known) -> str:
    own = sorted(_exported([modules[name] for name in order]) & known.shared)
    above = f"let {', '.join(own)};\n" if own else ""
    return above + "".join(_block(name, modules[name], known) for name in order)


def _known(modules: Mapping[str, str], order: Sequence[str]) -> Known:
    numbers = {name: number for number, name in enumerate(order)}
    whole = {_target(name, found[3]) for name in order for found in IMPORT.finditer(modules[name]) if found[2]}
    return Known(numbers, _shared([modules[name] for name in order]), whole)


@dataclass(frozen=True, slots=True)
class Known:
    """numbers of the modules; shared: exported names that all see; whole: modules that some import as one object."""

    numbers: Mapping[str, int]
    shared: frozenset[str]
    whole: frozenset[str] | set[str]


def _shared(texts: Sequence[str]) -> frozenset[str]:
    """Exported constants and functions whose name no other module exports: above the blocks, and nobody fetches them.

    A shared function is there from its place on, as a constant is: no module may call one of its own before.
    """
    named = [found for text in texts for found in DECLARED.finditer(text)]
    listed = [alias for text in texts for found in LISTED.finditer(text) for _own, alias in _pairs(found[1])]
    count = Counter([found[2] for found in named] + listed)
    return frozenset(found[2] for found in named if found[1] != "class" and count[found[2]] == 1)


def _exported(texts: Sequence[str]) -> set[str]:
    return {found[2] for text in texts for found in DECLARED.finditer(text)}


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


def _block(name: str, text: str, known: Known) -> str:
    """One module as a block of its own, in which its names stay; what it exports is shared or in $ under its number."""
    exported = exports(text)

    def taken(found: re.Match[str]) -> str:
        holder = f"$[{known.numbers[_target(name, found[3])]}]"
        if found[2]:
            return f"const {found[2]} = {holder};\n"
        pairs = _pairs(found[1] or "")
        renamed = [(own, alias) for own, alias in pairs if own in known.shared and own != alias]
        for own, alias in renamed:
            if re.search(rf"^(?:async )?(?:function|const|let|class) {own}\b", text, re.MULTILINE):
                raise ValueError(f"{name}: {own} as {alias} would be its own {own}")
        lines = [f"const {alias} = {own};" for own, alias in renamed]
        fetched = [(own, alias) for own, alias in pairs if own not in known.shared]
        names = ", ".join(own if own == alias else f"{own}: {alias}" for own, alias in fetched)
        return "".join([*lines, f"const {{ {names} }} = {holder};\n" if names else ""])

    def declared(found: re.Match[str]) -> str:
        if found[2] not in known.shared:
            return f"{found[1]} {found[2]}"
        return found[2] if found[1] == "const" else f"{found[2]} = {found[1]}"

    body = LISTED.sub("", DECLARED.sub(declared, IMPORT.sub(taken, text)))
    if left := re.search(r"^(?:import|export)\b.*", body, re.MULTILINE):
        raise ValueError(f"{name}: “{left[0][:80]}” cannot be joined")
    asked = {alias: own for alias, own in exported.items() if name in known.whole or alias not in known.shared}
    gives = ", ".join(alias if own == alias else f"{alias}: {own}" for alias, own in asked.items())
    kept = f"$[{known.numbers[name]}] = {{ {gives} }};\n" if gives else ""
    return f"{{\n{body}\n{kept}}}\n"


def exports(text: str) -> dict[str, str]:
    """Under which name a module gives what, and what that is called inside."""
    listed = [(alias, own) for found in LISTED.finditer(text) for own, alias in _pairs(found[1])]
    return {found[2]: found[2] for found in DECLARED.finditer(text)} | dict(listed)


def _pairs(names: str) -> list[tuple[str, str]]:
    """ "a, b as c" -> [("a", "a"), ("b", "c")]."""
    halves = [each.split(" as ") for each in re.sub(r"\s+", " ", names).split(",") if each.strip()]
    return [(half[0].strip(), half[-1].strip()) for half in halves]
