"""Numbers are kept with the science that made them, and made anew when it changes."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command

from dosing import tasks
from dosing.models import RecordNumbers
from dosing.science import SCIENCE_VERSION
from dosing.services.night import recomputing
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.computing import compute, computed
from dosing.services.night.recomputing import chunk_after, recompute
from sessions.models import Patient, Prescription, TreatmentRecord
from tests.crowd import ours
from tests.factories import A_NIGHT, BloodFactory, record_night

pytestmark = pytest.mark.django_db

LATER = A_NIGHT + timedelta(days=1)


@pytest.fixture
def nights(ana: Patient) -> list[TreatmentRecord]:
    """Three, in order of time."""
    return [record_night(ana, A_NIGHT + timedelta(days=2 * day)) for day in range(3)]


def test_numbers_are_kept_with_version_revision_and_moment(nights: list[TreatmentRecord]) -> None:
    kept = compute(nights[0], at=LATER)
    kept.refresh_from_db()
    assert (kept.science_version, kept.record_revision, kept.computed_at) == (SCIENCE_VERSION, 1, LATER)
    assert set(kept.numbers) == set(NIGHT_NUMBERS)
    assert kept.numbers["uf_rate"] == {
        "value": pytest.approx(2300 / 4 / 70),
        "why": None,
        "inputs": {"uf_l": 2.3, "fluid_by": "total", "minutes": 240.0, "post_weight_kg": 70.0},
        "function": "dosing.science.fluid.uf_rate",
        "at": "",
    }
    assert kept.numbers["bleeding"] == {
        "value": None,
        "why": {"code": "not_noted", "what": "bleeding_time"},
        "inputs": {"value": None},
        "function": "dosing.services.night.catalogue",
        "at": "",
    }


def test_computing_again_takes_the_place_of_what_stood(nights: list[TreatmentRecord]) -> None:
    record = nights[0]
    compute(record, at=LATER)
    TreatmentRecord.objects.filter(pk=record.pk).update(uf_removed_l=2.8, revision=2)
    record.refresh_from_db()
    compute(record, at=LATER + timedelta(hours=1))
    kept = ours(RecordNumbers).get()
    assert (kept.record_revision, kept.numbers["uf_rate"]["value"]) == (2, pytest.approx(10.0))


def test_what_was_never_computed_or_by_another_science_is_waiting(nights: list[TreatmentRecord]) -> None:
    for record in nights[:2]:
        compute(record, at=LATER)
    RecordNumbers.objects.filter(record=nights[0]).update(science_version="2020.1")
    assert chunk_after(None) == [nights[0], nights[2]]
    assert chunk_after(nights[0].pk) == [nights[2]]
    found = chunk_after(None)
    assert recompute(found, at=LATER) == 2
    assert chunk_after(None) == []
    assert recompute(found, at=LATER) == 0, "what another worker has done is not done twice"


@pytest.fixture
def queued(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Any, ...]]:
    """What was queued, with chunks of two."""
    found: list[tuple[Any, ...]] = []
    monkeypatch.setattr(tasks.recompute_history, "delay", lambda *given: found.append(given))
    for module in (recomputing, tasks):
        monkeypatch.setattr(module, "CHUNK", 2)
    return found


def test_a_task_takes_a_chunk_and_queues_the_next(nights: list[TreatmentRecord], queued: list[tuple[Any, ...]]) -> None:
    tasks.recompute_history()
    assert queued == [(str(nights[1].pk),)]
    assert ours(RecordNumbers).count() == 2
    tasks.recompute_history(queued[0][0])
    assert len(queued) == 1, "the last chunk queues nothing"
    assert chunk_after(None) == []


def test_a_chunk_carried_out_twice_does_no_harm(nights: list[TreatmentRecord], queued: list[tuple[Any, ...]]) -> None:
    tasks.recompute_history()
    tasks.recompute_history()
    assert ours(RecordNumbers).count() == 3


def test_one_record_that_fails_takes_none_of_the_others_back(
    nights: list[TreatmentRecord], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails_on_the_second(record: TreatmentRecord, **kwargs: Any) -> RecordNumbers:
        if record == nights[1]:
            raise RuntimeError
        return computed(record, **kwargs)

    monkeypatch.setattr(recomputing, "computed", fails_on_the_second)
    assert recompute(nights, at=LATER) == 2
    assert set(ours(RecordNumbers).values_list("record", flat=True)) == {nights[0].pk, nights[2].pk}
    assert chunk_after(None) == [nights[1]], "it waits on"


def test_patients_follow_each_other_each_in_order_of_time(
    ana: Patient, ben: Patient, nights: list[TreatmentRecord]
) -> None:
    bens = [record_night(ben, A_NIGHT + day * timedelta(days=1)) for day in (1, 3)]
    both = [*nights, *bens] if ana.pk < ben.pk else [*bens, *nights]
    assert chunk_after(None) == both
    assert chunk_after(both[1].pk) == both[2:]
    assert recompute(both, at=LATER) == 5


def test_a_batch_asks_as_often_for_many_records_as_for_few_and_comes_to_the_same(
    ana: Patient, anas_prescription: Prescription, nights: list[TreatmentRecord], django_assert_num_queries: Any
) -> None:
    """Twenty for a patient's batch: the course once, its surroundings, what is locked and kept."""
    for day in range(6, 20, 2):
        nights.append(record_night(ana, A_NIGHT + timedelta(days=day)))
    for record in nights[::3]:
        BloodFactory(patient=ana, treatment=record, value=25, drawn_at=record.started_at)
        after = {"timing": "post", "post_method": "slow_flow", "drawn_at": record.ended_at}
        BloodFactory(patient=ana, treatment=record, value=8, **after)
    one_by_one = {each.pk: compute(each, at=LATER).numbers for each in TreatmentRecord.objects.filter(patient=ana)}
    ours(RecordNumbers).update(science_version="2020.1")
    with django_assert_num_queries(20):
        assert recompute(nights, at=LATER) == len(nights)
    together = dict(ours(RecordNumbers).values_list("record", "numbers"))
    assert together.keys() == one_by_one.keys()
    assert one_by_one[nights[3].pk]["fitted_week"]["value"] > 1
    for key, numbers in one_by_one.items():
        for name, number in numbers.items():
            assert together[key][name]["value"] == pytest.approx(number["value"]), name
            assert together[key][name].get("doubts") == number.get("doubts"), name


def test_the_command_queues_it(queued: list[tuple[Any, ...]], capsys: pytest.CaptureFixture[str]) -> None:
    call_command("recompute_numbers")
    assert queued == [()]
    assert "Queued" in capsys.readouterr().out


def test_the_task_waits_on_the_queue_that_can_wait(settings: Any) -> None:
    from homedialysis.celery import app

    route = app.amqp.router.route({}, tasks.recompute_history.name)
    assert route["queue"].name == "later"
