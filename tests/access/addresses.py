"""Every address of the project, read from the resolver's tree."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver, reverse

MEANT = {
    "dosing:number": {"key": "number_key"},
    "dosing:month-number": {"number_key": "month_key"},
    "dosing:unit-behind": {"figure": "figure_key"},
    "dosing:outcome": {"what": "outcome_what", "row": "outcome_row"},
    "treatments:finding": {"row": "finding_row"},
    "treatments:medicine": {"row": "medicine_row"},
    "treatments:surroundings-change": {"row": "patients_row"},
    "treatments:surroundings-unit-change": {"row": "units_row"},
}
"""By address, names whose value is another one of the world's ids: a number's key is no key of a mail's link."""


@dataclass(frozen=True)
class Address:
    """name with its namespace; the names of the values the path holds."""

    name: str
    holds: tuple[str, ...]

    def path(self, ids: dict[str, Any]) -> str:
        """With these values; what one name means at some addresses is another thing than elsewhere."""
        values = dict(ids) | {name: ids[meant] for name, meant in MEANT.get(self.name, {}).items()}
        return reverse(self.name, kwargs={name: values[name] for name in self.holds})


def every_address() -> list[Address]:
    return list(_walk(get_resolver().url_patterns, ""))


def _walk(patterns: list[Any], space: str) -> Iterator[Address]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            inner = f"{space}{pattern.namespace}:" if pattern.namespace else space
            yield from _walk(pattern.url_patterns, inner)
        else:
            assert isinstance(pattern, URLPattern)
            assert pattern.name, f"{pattern.pattern} has no name, so no test can ask for it"
            yield Address(f"{space}{pattern.name}", tuple(pattern.pattern.regex.groupindex))
