"""Where a patient dialyses, from when to when: home, on holiday, a second home."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True)
class Place:
    """name: what people call it; since, until: first and last day there, both on the clock of the place, until None
    while nobody knows; zone: its time zone; emergency: the number that is called there, "" where it is the unit's own;
    phone: under which the patient is reached there; delivery: where supplies go.
    """

    name: str
    since: date
    until: date | None
    zone: str
    emergency: str = ""
    phone: str = ""
    delivery: str = ""

    def holds(self, moment: datetime) -> bool:
        """Whether the patient is there at a moment.

        >>> from datetime import UTC
        >>> there = Place("Auckland", date(2026, 11, 30), date(2026, 12, 2), "Pacific/Auckland")
        >>> [there.holds(datetime(2026, *at, tzinfo=UTC)) for at in ((11, 29, 10), (11, 29, 11), (12, 2, 11))]
        [False, True, False]
        """
        day = moment.astimezone(ZoneInfo(self.zone)).date()
        return self.since <= day and (self.until is None or day <= self.until)

    def as_json(self) -> dict[str, Any]:
        until = self.until and self.until.isoformat()
        return asdict(self) | {"since": self.since.isoformat(), "until": until}

    @classmethod
    def from_json(cls, row: Mapping[str, Any]) -> Place:
        until = date.fromisoformat(row["until"]) if row["until"] else None
        return cls(**{**row, "since": date.fromisoformat(row["since"]), "until": until})


def place_at(rows: Iterable[Mapping[str, Any]], moment: datetime) -> Place | None:
    """The place that holds at a moment, the one that began last where several do; None at home."""
    there = [place for row in rows if (place := Place.from_json(row)).holds(moment)]
    return max(there, key=lambda place: place.since, default=None)
