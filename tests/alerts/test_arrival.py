"""Whatever order records come in, however often, corrected or not: the alerts say the same in the end."""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from alerts.models import Alert, AlertStep
from alerts.services.evaluation import evaluate_pending
from alerts.showing.alert_words import sentence_of
from sessions.models import Patient, Prescription
from sessions.services.recording import record_treatment
from tests.alerts.builders import DAY, reading
from tests.alerts.test_two_workers import side_by_side
from tests.crowd import ours
from tests.factories import A_NIGHT, PatientFactory, PrescriptionFactory, record_night

Night = dict[str, Any]
LATER = A_NIGHT + 30 * DAY
MODEST = settings(
    max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)

nights = st.fixed_dictionaries(
    {
        "uf_removed_l": st.sampled_from([2.3, 2.8, 2.85, 3.6, None]),
        "post_weight_kg": st.sampled_from([70.0, 71.2, 68.5, None]),
        "pre_systolic": st.sampled_from([140, 185]),
        "minutes": st.sampled_from([240, 205, 150]),
        "venous": st.sampled_from([130, 245, 260]),
        "event": st.sampled_from(["", "cramp", "fainted", "hypotension"]),
    }
)
some_nights = st.lists(nights, min_size=2, max_size=5)


def body(place: int, night: Night) -> dict[str, Any]:
    start = A_NIGHT + place * 2 * DAY
    events = [{"at": (start + timedelta(minutes=90)).isoformat(), "kind": night["event"], "note": ""}]
    return {name: night[name] for name in ("uf_removed_l", "post_weight_kg", "pre_systolic", "minutes")} | {
        "readings": [reading(start, 60, venous_mmhg=night["venous"])],
        "events": events if night["event"] else [],
    }


def send(patient: Patient, place: int, night: Night) -> Any:
    return record_night(patient, A_NIGHT + place * 2 * DAY, at=LATER, **body(place, night))


def said() -> dict[tuple[str, str], list[tuple[str, ...]]]:
    """What stands, by rule and cause: an alert that has nothing left to stand on says nothing."""
    found = {}
    for alert in ours(Alert):
        standing = [item for item in alert.evidence if not item.get("gone")]
        if standing:
            found[alert.rule, alert.cause] = [(item["day"], item["kind"], str(item["value"])) for item in standing]
    return found


def state() -> list[tuple[str, str, bool, str]]:
    """Of each alert that stands: its sentence, and whether it has passed."""
    rows = ours(Alert).order_by("rule", "cause")
    return [
        (alert.rule, alert.cause, alert.cause_gone_at is None, sentence_of(alert))
        for alert in rows
        if any(not item.get("gone") for item in alert.evidence)
    ]


@contextmanager
def undone() -> Iterator[None]:
    """Each example begins with an empty database."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def in_order(patient: Patient, made: list[Night]) -> tuple[Any, Any]:
    with undone():
        for place, night in enumerate(made):
            send(patient, place, night)
            evaluate_pending(at=LATER)
        return said(), state()


@MODEST
@given(made=some_nights, data=st.data())
def test_order_of_arrival(ana: Patient, anas_prescription: Prescription, made: list[Night], data: Any) -> None:
    expected = in_order(ana, made)
    with undone():
        for place in data.draw(st.permutations(range(len(made)))):
            send(ana, place, made[place])
            if data.draw(st.booleans()):
                evaluate_pending(at=LATER)
        evaluate_pending(at=LATER)
        assert (said(), state()) == expected


@MODEST
@given(made=some_nights, again=st.lists(st.integers(0, 4), max_size=4))
def test_sent_again(ana: Patient, anas_prescription: Prescription, made: list[Night], again: list[int]) -> None:
    expected = in_order(ana, made)
    with undone():
        for place, night in enumerate(made):
            send(ana, place, night)
            evaluate_pending(at=LATER)
        steps = ours(AlertStep).count()
        for place in again:
            send(ana, place % len(made), made[place % len(made)])
            evaluate_pending(at=LATER)
        assert (said(), state()) == expected
        assert ours(AlertStep).count() == steps


@MODEST
@given(made=some_nights, wrong=nights, data=st.data())
def test_corrected(ana: Patient, anas_prescription: Prescription, made: list[Night], wrong: Night, data: Any) -> None:
    """One night was written down wrong, was judged, and was corrected: as if it had been right from the first."""
    expected = in_order(ana, made)
    slip = data.draw(st.integers(0, len(made) - 1))
    with undone():
        records = []
        for place, night in enumerate(made):
            records.append(send(ana, place, wrong if place == slip else night))
            evaluate_pending(at=LATER)
        record = records[slip]
        corrected = body(slip, made[slip])
        length = timedelta(minutes=corrected.pop("minutes"))
        assert ana.account
        record_treatment(
            record_id=record.pk,
            patient=ana,
            document=record.document | corrected | {"ended_at": (record.started_at + length).isoformat()},
            by=ana.account,
            at=LATER,
            replaces=record.etag,
        )
        evaluate_pending(at=LATER)
        assert (said(), state()) == expected


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("seed", [1, 2])
def test_four_workers_say_what_one_says(unit: object, seed: int) -> None:
    """The same nights of two patients, evaluated by one worker night by night and by four at once.

    What was said of a night until a later one came stays with the alert as gone: only the first has heard of it.
    """
    chance = random.Random(seed)
    choices = {
        "uf_removed_l": [2.3, 2.85, 3.6], "post_weight_kg": [70.0, 71.2], "pre_systolic": [140, 185],
        "minutes": [240, 150], "venous": [130, 260], "event": ["", "cramp", "fainted"],
    }  # fmt: skip
    made = [{name: chance.choice(some) for name, some in choices.items()} for _ in range(6)]
    patients = [PatientFactory() for _ in range(2)]
    for patient in patients:
        PrescriptionFactory(patient=patient, version=1)
    for place, night in enumerate(made):
        send(patients[0], place, night)
        evaluate_pending(at=LATER)
    for place, night in enumerate(made):
        send(patients[1], place, night)
    side_by_side(*[lambda: evaluate_pending(at=LATER)] * 4)
    one, four = (
        {
            (a.rule, a.cause): (sentence_of(a), [item["value"] for item in a.evidence if not item.get("gone")])
            for a in Alert.objects.filter(patient=p)
        }
        for p in patients
    )
    assert one == four
    assert one
