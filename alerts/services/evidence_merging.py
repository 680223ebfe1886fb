"""Set the evidence that an alert keeps beside what is seen now: what joins, what was taken away, what came back.

Kept evidence is as `rules.base.Evidence.as_json` writes it, with "gone": true once a correction took it away, and
"handled": true where somebody had dealt with it before the alert came back.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from alerts.rules.base import Evidence

Item = dict[str, Any]
Key = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Merged:
    """Kept and new evidence together, each with whether it is gone.

    added, lost, returned: what is new, what was taken away and what came back just now.
    """

    evidence: list[tuple[Evidence, bool]]
    added: list[Evidence]
    lost: list[Evidence]
    returned: list[Evidence]

    @property
    def standing(self) -> tuple[Evidence, ...]:
        return tuple(item for item, gone in self.evidence if not gone)

    @property
    def changed(self) -> bool:
        return bool(self.added or self.lost or self.returned)

    @property
    def gone(self) -> list[Evidence]:
        return [item for item, gone in self.evidence if gone]

    @property
    def as_json(self) -> list[Item]:
        return [item.as_json() | ({"gone": True} if gone else {}) for item, gone in self.evidence]


def merge(kept: Sequence[Item], seen: Sequence[Evidence], *, since: datetime) -> Merged:
    """Evidence from before `since` cannot be seen any more, and stays as it is."""
    now = {item.key for item in seen}
    before = [(Evidence.from_json(item), bool(item.get("gone"))) for item in kept]
    known = {item.key for item, _ in before}
    added = [item for item in seen if item.key not in known]
    after = [(item, gone if item.at < since else item.key not in now) for item, gone in before]
    changed = [(item, gone) for (item, was), (_, gone) in zip(before, after, strict=True) if gone != was]
    return Merged(
        evidence=sorted([*after, *((item, False) for item in added)], key=_in_order),
        added=added,
        lost=[item for item, gone in changed if gone],
        returned=[item for item, gone in changed if not gone],
    )


def split(items: Iterable[Item]) -> tuple[list[Item], list[Item]]:
    """What was dealt with before the alert came back, and the rest."""
    every = list(items)
    return [item for item in every if item.get("handled")], [item for item in every if not item.get("handled")]


def keys_of(items: Iterable[Item]) -> set[Key]:
    """The keys of the evidence that stands."""
    return {Evidence.from_json(item).key for item in items if not item.get("gone")}


def _in_order(pair: tuple[Evidence, bool]) -> tuple[datetime, str, str]:
    item, _gone = pair
    return item.at, item.kind, item.place
