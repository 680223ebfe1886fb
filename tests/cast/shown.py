"""A number as some place of the product shows it, and whether several places show the same one."""

from __future__ import annotations

import re
from typing import NamedTuple

NUMBER = re.compile(r"([-−]?\d+)(?:[.,](\d+))?")
UNKNOWN = ("unknown", "–", "not known")
GRADES = ("within the limit", "action level", "over the limit")
"""Words in place of 0, 1 and 2."""


class Shown(NamedTuple):
    """value None: said to be unknown. decimals: as many as are written, None where the number comes whole."""

    value: float | None
    decimals: int | None = None

    def __str__(self) -> str:
        return "unknown" if self.value is None else f"{self.value:.{3 if self.decimals is None else self.decimals}f}"


def whole(value: float | None) -> Shown:
    """A number out of JSON."""
    return Shown(value)


def written(text: str) -> Shown:
    """The first number of a text; AssertionError where there is none and nothing says that it is unknown."""
    if text.startswith(UNKNOWN):
        return Shown(None, 0)
    if grade := next((grade for grade in GRADES if text.startswith(grade)), ""):
        return Shown(GRADES.index(grade), 0)
    found = NUMBER.search(text)
    assert found, f"“{text}” is neither a number nor said to be unknown"
    decimals = found[2] or ""
    sign = -1 if found[1].startswith(("-", "−")) else 1
    return Shown(sign * float(f"{found[1].lstrip('-−')}.{decimals or 0}"), len(decimals))


def agree(one: Shown, other: Shown) -> bool:
    """Whether both can be the same number, each as exactly as it is written."""
    if one.value is None or other.value is None:
        return one.value is other.value
    known = {each.decimals for each in (one, other) if each.decimals is not None}
    slack = 0.5 * 10 ** -min(known) if known and one.decimals != other.decimals else 0
    return abs(one.value - other.value) <= slack + 1e-9


def disagreeing(said: dict[str, Shown]) -> str:
    """ "" where all places agree, else what each says."""
    shown = list(said.values())
    if all(agree(one, other) for index, one in enumerate(shown) for other in shown[index + 1 :]):
        return ""
    return ", ".join(f"{place} {value}" for place, value in said.items())
