"""How the record of a made-up treatment comes to the unit: once, twice, late, corrected, from two phones, or never."""

from __future__ import annotations

import copy
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from homedialysis.demo.cast import How
from homedialysis.demo.papers import Document, as_left_open
from sessions.facts.choices import RecordSource, RecordState

WRONG_MMHG, WRONG_KG = 310, 10
TYPED_IN_AFTER = timedelta(days=4)
CORRECTED_AFTER = timedelta(hours=9)
MINUTE = timedelta(minutes=1)
APART = 4 * MINUTE
"""Between the starts that two phones note of the same treatment."""


@dataclass(frozen=True, slots=True)
class Sending:
    """A document as it is sent. replaces: whether what stands was seen before; writer: by which of those who write."""

    at: datetime
    record_id: uuid.UUID
    document: Document
    replaces: bool = False
    writer: int = 0


Sendings = Iterator[Sending]


def sendings(how: How, first: Sending, until: datetime) -> list[Sending]:
    """What is sent of a treatment whose record would come as `first`."""
    return [replace(each, at=min(each.at, until)) for each in WAYS[how](first, until)]


def _left_open(first: Sending, until: datetime) -> Sendings:
    yield replace(first, document=as_left_open(first.document, until))


def _never(first: Sending, until: datetime) -> Sendings:
    yield from ()


def _from_paper(first: Sending, until: datetime) -> Sendings:
    yield replace(first, at=first.at + TYPED_IN_AFTER, document={**first.document, "source": RecordSource.PAPER})


def _wrong_pressure(first: Sending, until: datetime) -> Sendings:
    wrong = copy.deepcopy(first.document)
    wrong["readings"][1]["venous_mmhg"] = WRONG_MMHG
    yield from _corrected(first, wrong)


def _wrong_weight(first: Sending, until: datetime) -> Sendings:
    after = first.document.get("post_weight_kg") or first.document["pre_weight_kg"]
    yield from _corrected(first, {**first.document, "post_weight_kg": after + WRONG_KG})


def _corrected(right: Sending, wrong: Document) -> Sendings:
    yield replace(right, document=wrong)
    yield replace(right, at=right.at + CORRECTED_AFTER, replaces=True)


def _two_records(first: Sending, until: datetime) -> Sendings:
    """The patient's phone noted the beginning, the partner's the end: neither knows of the other."""
    begun, middle = as_left_open(first.document, until), _middle(first.document)
    half = {**begun, "status": RecordState.FINISHED, "ended_at": first.document["ended_at"]}
    start = datetime.fromisoformat(first.document["started_at"]) + APART
    rest = {name: value for name, value in first.document.items() if not name.startswith("pre_")}
    rest |= {"started_at": start.isoformat(), "checks": [], "confirmed": []}
    rest["readings"] = [row for row in first.document["readings"] if datetime.fromisoformat(row["at"]) > middle]
    half["readings"] = [row for row in first.document["readings"] if row not in rest["readings"]]
    yield replace(first, document=half, writer=0)
    other = uuid.uuid5(first.record_id, "the partner's phone")
    yield Sending(first.at + 2 * MINUTE, other, rest, writer=1)


def _two_phones(first: Sending, until: datetime) -> Sendings:
    """The patient begins, the partner goes on while the patient sleeps, the patient hands over in the morning."""
    start, middle = datetime.fromisoformat(first.document["started_at"]), _middle(first.document)
    end = datetime.fromisoformat(first.document["ended_at"])
    yield replace(first, at=middle, document=as_left_open(first.document, start + (middle - start) / 2), writer=0)
    yield replace(first, at=end, document=as_left_open(first.document, end), replaces=True, writer=1)
    yield replace(first, replaces=True, writer=0)


def _middle(document: Document) -> datetime:
    start, end = (datetime.fromisoformat(document[name]) for name in ("started_at", "ended_at"))
    return start + (end - start) / 2


WAYS: dict[How, Callable[[Sending, datetime], Sendings]] = {
    How.LEFT_OPEN: _left_open,
    How.NEVER_ENTERED: _never,
    How.FROM_PAPER: _from_paper,
    How.WRONG_PRESSURE: _wrong_pressure,
    How.WRONG_WEIGHT: _wrong_weight,
    How.TWO_RECORDS: _two_records,
    How.TWO_PHONES: _two_phones,
}
