"""Every address of the project, read from the resolver's tree."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver, reverse


@dataclass(frozen=True)
class Address:
    """name with its namespace; the names of the values the path holds."""

    name: str
    holds: tuple[str, ...]

    def path(self, ids: dict[str, Any]) -> str:
        """With these values; a number's key is another thing than the key of a mail's link."""
        values = dict(ids) | ({"key": ids["number_key"]} if self.name == "dosing:number" else {})
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
