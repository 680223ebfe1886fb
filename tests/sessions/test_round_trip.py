"""Whatever can be recorded: what GET answers, sent back, is an identical repeat."""

from __future__ import annotations

import json
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sessions.facts.choices import EventKind, PlanChoice
from sessions.facts.fields import CHECK, EVENT, READING, TREATMENT
from sessions.facts.ranges import Range
from sessions.models import Patient, TreatmentRecord
from sessions.services.document import TreatmentDocument, canonical
from tests.over_http import address, put

EARLIER = datetime(2026, 1, 1, tzinfo=UTC)
# No lone halves of a surrogate pair and no NUL: the API refuses them (test_treatment_refusals).
TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=40)
ZONES = st.sampled_from([UTC, *(datetime.strptime(text, "%z").tzinfo for text in ("+0530", "-1100", "+1400"))])


def number(limits: Range) -> st.SearchStrategy[float | None]:
    low, high = limits.hard
    return st.none() | st.floats(low, high) | st.integers(int(low) + 1, int(high)).map(float)


def numbers(table: dict[str, Range]) -> st.SearchStrategy[dict[str, Any]]:
    """Some of the numbers of a table; a diastolic pressure only below its systolic."""
    return st.fixed_dictionaries({}, optional={name: number(limits) for name, limits in table.items()}).map(lawful)


def lawful(row: dict[str, Any]) -> dict[str, Any]:
    for name in [name for name in row if name.endswith("diastolic")]:
        systolic, diastolic = row.get(name.replace("diastolic", "systolic")), row[name]
        if systolic is not None and diastolic is not None and diastolic >= systolic:
            del row[name]
    return row


@st.composite
def nights(draw: st.DrawFn) -> dict[str, Any]:
    zone, start = draw(ZONES), EARLIER + timedelta(seconds=draw(st.integers(0, 20_000_000)))
    length = draw(st.integers(1, 1440))

    def moments(most: int) -> list[str]:
        offsets = draw(st.lists(st.integers(-180 * 60, (length + 180) * 60), max_size=most, unique=True))
        return [(start + timedelta(seconds=offset)).astimezone(zone).isoformat() for offset in offsets]

    readings = [{"at": at, **draw(numbers(READING))} for at in moments(4)]
    events = [{"at": at, "kind": draw(st.sampled_from(EventKind.values)), "note": draw(TEXT)} for at in moments(3)]
    for event in events:
        event.update(draw(numbers(EVENT)))
    checks = [
        {"name": "Chlorine", "passed": draw(st.booleans()), "note": draw(TEXT), **draw(numbers(CHECK))}
        for _ in range(draw(st.integers(0, 2)))
    ]
    steps = [{"at": at, "key": "wash", "words": draw(TEXT)} for at in moments(2)]
    return draw(numbers(TREATMENT)) | {
        "status": draw(st.sampled_from(["open", "finished"])),
        "started_at": start.astimezone(zone).isoformat(),
        "ended_at": (start + timedelta(minutes=length)).astimezone(zone).isoformat(),
        "readings": readings,
        "events": events,
        "checks": checks,
        "steps": steps,
        "plan_choice": draw(st.sampled_from(["", *PlanChoice.values])),
        "disinfected": draw(st.sampled_from([None, True, False])),
        "notes": draw(TEXT),
        "confirmed": draw(st.lists(st.sampled_from(["pre_weight_kg", "readings[0].pulse", "readings[3].pulse"]))),
    }


@pytest.mark.django_db
@settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(night=nights())
def test_what_was_answered_can_be_sent_back(ana_client: Client, night: dict[str, Any]) -> None:
    record_id = uuid.uuid4()
    first = put(ana_client, record_id, json.dumps(night))
    assert first.status_code == 201, first.content
    read = ana_client.get(address(record_id)).json()
    assert read == first.json()
    again = put(ana_client, record_id, json.dumps(read))
    assert (again.status_code, again.headers["ETag"], again.json()) == (200, read["etag"], read)
    same = put(ana_client, record_id, json.dumps(night))
    assert (same.status_code, same.headers["ETag"]) == (200, read["etag"])
    record = TreatmentRecord.objects.get(pk=record_id)
    assert record.events.count() == 1  # type: ignore[attr-defined]


@settings(max_examples=50, deadline=None)
@given(night=nights())
def test_the_canonical_document_is_its_own_canonical_document(night: dict[str, Any]) -> None:
    def once(body: dict[str, Any]) -> dict[str, Any]:
        reader = TreatmentDocument(
            data=body, context={"patient": Patient(time_zone="UTC"), "now": datetime(2026, 12, 1, tzinfo=UTC)}
        )
        reader.is_valid(raise_exception=True)
        return canonical(reader.validated_data)

    first = once(night)
    assert once(first) == first
    assert [row["at"] for row in first["readings"]] == sorted(row["at"] for row in first["readings"])
