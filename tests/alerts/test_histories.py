"""A history is built in one place: the same for one patient as in a crowd, in whatever order its rows were made."""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Callable
from datetime import date, timedelta
from functools import partial
from typing import Any

import pytest
from django.db import connection, models
from django.test.utils import CaptureQueriesContext

from alerts.models import Limit
from alerts.services.evaluation import evaluate_pending
from alerts.services.history import WHOLE, histories_in_turn, histories_of, history_of
from alerts.services.long_course import long_courses_of
from homedialysis.accounts.models import User
from sessions.models import HospitalStay, LeftOut, Patient, PrescriptionAcknowledgement
from tests.alerts.builders import DAY, reading
from tests.alerts.made_alerts import made_alert
from tests.crowd import ours
from tests.factories import (
    A_NIGHT,
    AccessFactory,
    BloodFactory,
    BloodsDueFactory,
    IntervalFactory,
    MachineFactory,
    MedicationFactory,
    PrescriptionFactory,
    SiteFactory,
    SupplyCountFactory,
    SupplyItemFactory,
    TaskDoneFactory,
    TrainingFactory,
    WaterTestFactory,
    record_night,
)

AT = A_NIGHT + 20 * DAY
SINCE = A_NIGHT - DAY
NIGHTS = 6


def plain(what: Any) -> Any:
    """Down to the columns of every row: rows themselves count as equal as soon as their keys are."""
    if isinstance(what, models.Model):
        return {field.attname: getattr(what, field.attname) for field in what._meta.concrete_fields
                if field.attname in what.__dict__}  # fmt: skip
    if dataclasses.is_dataclass(what):
        return {field.name: plain(getattr(what, field.name)) for field in dataclasses.fields(what)}
    if isinstance(what, dict):
        return {key: plain(value) for key, value in what.items()}
    return [plain(each) for each in what] if isinstance(what, list | tuple) else what


def shuffled(rng: random.Random, made: list[Callable[[], Any]]) -> None:
    """Make rows in a random order."""
    for make in rng.sample(made, len(made)):
        make()


def a_night(patient: Patient, index: int) -> Callable[[], Any]:
    start = A_NIGHT + index * 2 * DAY
    read = [reading(start, minute, venous_mmhg=120 + minute + index, tmp_mmhg=40 + index) for minute in (180, 60, 120)]
    events = [
        {"at": (start + timedelta(minutes=minute)).isoformat(), "kind": "cramp", "note": ""} for minute in (90, 20)
    ]
    changes = {"machine_ktv": 1.2 + index / 100, "pre_systolic": 130 + index}
    return lambda: record_night(patient, start, at=AT, readings=read, events=events, **changes)


def in_hospital(patient: Patient, first: date, nurse: User) -> None:
    HospitalStay.objects.create(
        patient=patient, admitted_on=first, discharged_on=first, entered_by=nurse, entered_at=AT
    )  # fmt: skip


def said_left_out(patient: Patient, day: date) -> None:
    said: dict[str, Any] = {"said_by": patient.account, "said_at": AT, "received_at": AT}
    LeftOut.objects.create(patient=patient, day=day, reason="ill", **said)


def furnish(patient: Patient, nurse: User, rng: random.Random) -> None:
    """Rows of everything that a history is made of, each kind more than once, in a random order."""
    order = PrescriptionFactory(patient=patient, version=1, target_weight_kg=70 + rng.randrange(5))
    item = SupplyItemFactory()
    old = A_NIGHT.date() - 200 * DAY
    limit = {"name": "venous_high", "value": 250, "why": "x", "since": A_NIGHT, "set_by": nurse}
    known = {"rule": "venous_rise", "cause": "venous", "state": "closed", "outcome": "known", "closed_by": nurse}
    said = {"reason": "ill", "said_by": patient.account, "said_at": AT, "received_at": AT}
    once: list[Callable[[], Any]] = [
        partial(AccessFactory, patient=patient, created_on=old, abandoned_on=A_NIGHT.date()),
        partial(AccessFactory, patient=patient, created_on=A_NIGHT.date()),
        partial(MachineFactory, patient=patient, since=old, until=A_NIGHT.date() - DAY),
        partial(MachineFactory, patient=patient, since=A_NIGHT.date()),
        partial(MachineFactory, patient=patient, kind="water", since=old),
        partial(Limit.objects.create, patient=patient, **limit),
        partial(PrescriptionAcknowledgement.objects.create, prescription=order, by=nurse, at=AT, received_at=AT),
        partial(IntervalFactory, patient=patient, kind="service", every_days=100),
        partial(made_alert, patient, at=A_NIGHT + 5 * DAY, closed_at=A_NIGHT + 6 * DAY, **known),
        partial(TrainingFactory, patient=patient, topic="Water"),
        partial(LeftOut.objects.create, patient=patient, day=A_NIGHT.date() + DAY, words=patient.name, **said),
        partial(record_night, patient, SINCE - 3 * DAY, at=AT),
        partial(said_left_out, patient, A_NIGHT.date() - 50 * DAY),
    ]
    thrice: list[Callable[[], Any]] = [
        make
        for when in (A_NIGHT + index * DAY for index in range(3))
        for make in (
            partial(WaterTestFactory, patient=patient, sampled_at=when),
            partial(SupplyCountFactory, patient=patient, item=item, counted_at=when),
            partial(TaskDoneFactory, patient=patient, done_at=when),
            partial(in_hospital, patient, (when - 40 * DAY).date(), nurse),
            partial(MedicationFactory, patient=patient, kind="pressure", from_on=when.date(), entered_by=nurse),
            partial(BloodFactory, patient=patient, drawn_at=when, timing="apart", value=3 + rng.randrange(9)),
        )
    ]
    shuffled(rng, [*once, *thrice, *(a_night(patient, index) for index in range(NIGHTS))])


@pytest.fixture(params=[1, 2])
def furnished(request: Any, ana: Patient, ben: Patient, nurse: User) -> list[Patient]:
    """Two patients with rows of every kind, Ben in another time zone where it is another day already."""
    rng = random.Random(request.param)
    ben.time_zone = "Pacific/Auckland"
    ben.save()
    Limit.objects.create(name="venous_high", value=300, why="unit", since=A_NIGHT - DAY, set_by=nurse)
    BloodsDueFactory()
    for patient in rng.sample([ana, ben], 2):
        furnish(patient, nurse, rng)
    evaluate_pending(at=AT)
    return [ana, ben]


def test_a_patient_in_a_crowd_has_the_history_of_a_patient_alone(furnished: list[Patient]) -> None:
    together = histories_of(furnished, since=SINCE, at=AT, parts=WHOLE)
    for patient, history in zip(furnished, together, strict=True):
        (alone,) = histories_of([patient], since=SINCE, at=AT, parts=WHOLE)
        assert plain(history) == plain(alone)
        assert {night.record.patient_id for night in history.nights} == {patient.pk}
    own = [plain(history) for history in together]
    assert {part for part in own[0] if own[0][part] == own[1][part]} <= {"since", "night_before"}


def test_everything_is_oldest_first_in_whatever_order_it_came(furnished: list[Patient]) -> None:
    """The model's own order of records is newest first: rules would count from the wrong end."""
    for history in histories_of(furnished, since=SINCE, at=AT, parts=WHOLE):
        starts = [night.record.started_at for night in history.nights]
        assert starts == [A_NIGHT + index * 2 * DAY for index in range(NIGHTS)]
        assert history.night_before == (SINCE - 3 * DAY).astimezone(history.zone).date()
        for night in history.nights:
            assert [row.at - night.record.started_at for row in night.readings] == [
                timedelta(minutes=minute) for minute in (60, 120, 180)
            ]
            assert [row.at for row in night.events] == sorted(row.at for row in night.events)
        assert [row.drawn_at for row in history.bloods] == [A_NIGHT + days * DAY for days in range(3)]
        assert history.surroundings is not None
        assert [row.sampled_at for row in history.surroundings.water] == [A_NIGHT + days * DAY for days in range(3)]
        assert [point.at for point in history.course] == [SINCE - 3 * DAY, *starts]


def test_as_many_queries_for_a_crowd_as_for_one(furnished: list[Patient]) -> None:
    counts = []
    there = [*furnished, *(PrescriptionFactory(version=1).patient for _ in range(3))]
    for patients in (furnished[:1], [there[0], *there[2:]]):
        with CaptureQueriesContext(connection) as asked:
            histories_of(patients, since=SINCE, at=AT, parts=WHOLE)
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_in_turn_everybody_comes_once(furnished: list[Patient], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("alerts.services.history.PATIENTS_AT_ONCE", 1)
    found = histories_in_turn(ours(Patient), since=SINCE, at=AT, parts=frozenset())
    assert sorted(str(history.patient.pk) for history in found) == sorted(str(patient.pk) for patient in furnished)


@pytest.mark.parametrize(("days", "back"), [(None, 90), (50, 90), (100, 114), (390, 400)])
def test_an_alert_that_is_open_and_old_finds_what_it_stands_on(
    ana: Patient, ben: Patient, days: int | None, back: int
) -> None:
    """90 days, or two weeks before the first night of the patient's oldest open alert, and no more than 400."""
    made_alert(ben, at=AT - 200 * DAY)
    if days is not None:
        made_alert(ana, at=AT - days * DAY + timedelta(hours=12))
    made_alert(ana, at=AT - 300 * DAY, rule="other", state="closed", outcome="other", closed_at=AT,
               closed_by=ana.account)  # fmt: skip
    assert history_of(ana, at=AT, parts=frozenset()).since == AT - back * DAY


class TestLongCourse:
    """What splits a course into parts that cannot be compared."""

    def segments(self, patient: Patient, key: str) -> list[str]:
        course = long_courses_of([patient], {patient.pk: list(patient.prescriptions.all())}, at=AT)[patient.pk]
        return [point.segments[key] for point in course]

    @pytest.fixture(autouse=True)
    def nights(self, ana: Patient, ben: Patient) -> None:
        for patient in (ana, ben):
            for index in range(4):
                record_night(patient, A_NIGHT + index * 2 * DAY, at=AT)

    def changes(self, patient: Patient, key: str) -> list[int]:
        """The nights with which a new usual begins."""
        found = self.segments(patient, key)
        return [index for index in range(1, len(found)) if found[index] != found[index - 1]]

    def test_a_machine_from_its_first_night_on(self, ana: Patient, ben: Patient) -> None:
        MachineFactory(patient=ana, since=(A_NIGHT + 4 * DAY).date())
        MachineFactory(patient=ana, kind="water", since=(A_NIGHT + 2 * DAY).date())
        assert self.changes(ana, "venous") == [2]
        assert self.changes(ana, "clearance") == [2]
        assert self.changes(ben, "venous") == []

    def test_a_change_after_the_last_night_changes_nothing(self, ana: Patient) -> None:
        MachineFactory(patient=ana, since=(A_NIGHT + 7 * DAY).date())
        assert self.changes(ana, "venous") == []

    def test_only_finished_nights_up_to_the_moment_of_the_last_nine_months(self, ana: Patient) -> None:
        ages = {"too old": 271, "old": 270, "running": 1, "to come": -1}
        still_open: dict[str, Any] = {"status": "open", "ended_at": None}
        made = {
            name: record_night(ana, AT - days * DAY, at=AT, **(still_open if name == "running" else {}))
            for name, days in ages.items()
        }
        course = long_courses_of([ana], {ana.pk: list(ana.prescriptions.all())}, at=AT)[ana.pk]
        found = {point.record for point in course}
        assert [name for name, record in made.items() if str(record.pk) in found] == ["old"]
        assert len(course) == 4 + 1

    def test_what_was_accepted_before_all_of_it_splits_nothing(self, ana: Patient) -> None:
        """Neither does what lies on the table still."""
        made_alert(ana, rule="venous_rise", cause="1", state="closed", outcome="known", closed_by=ana.account,
                   closed_at=AT - 271 * DAY)  # fmt: skip
        made_alert(ana, rule="venous_rise", cause="2", at=A_NIGHT + 2 * DAY)
        assert self.changes(ana, "venous") == []
        assert all(segment.endswith(f"/{date.min.isoformat()}") for segment in self.segments(ana, "venous"))

    def test_a_needle_is_only_where_no_catheter_is(self, ana: Patient) -> None:
        """Neither one prescribed nor one noted at a lumen: flow raises the pressures of a catheter in another way."""
        since, fistula_from = (A_NIGHT - 9 * DAY).date(), (A_NIGHT + 3 * DAY).date()
        catheter = AccessFactory(patient=ana, kind="catheter", created_on=since, abandoned_on=fistula_from)
        AccessFactory(patient=ana, kind="fistula", created_on=fistula_from)
        lumen = SiteFactory(access=catheter, name="Red", use="arterial")
        order = PrescriptionFactory(patient=ana, version=1, needle_gauge=16, in_force=(A_NIGHT - 9 * DAY, None))
        rows = [{"site": lumen.pk, "use": "arterial", "gauge": 14}]
        made = [
            record_night(ana, A_NIGHT + days * DAY, at=AT, sites=rows if days == 1 else []) for days in (-1, 1, 3, 5)
        ]
        course = long_courses_of([ana], {ana.pk: [order]}, at=AT)[ana.pk]
        gauges = {point.record: point.gauge for point in course}
        assert [gauges[str(record.pk)] for record in made] == [None, None, 16, 16]

    def test_the_latest_of_several_changes(self, ana: Patient) -> None:
        for days in (2, 6):
            AccessFactory(patient=ana, created_on=(A_NIGHT - DAY).date(), abandoned_on=(A_NIGHT + days * DAY).date())
        assert self.changes(ana, "venous") == [1, 3]

    def test_closed_as_known_begins_a_new_usual_of_that_series_alone(self, ana: Patient, ben: Patient) -> None:
        made_alert(ana, rule="venous_rise", state="closed", outcome="known", closed_by=ana.account,
                   closed_at=A_NIGHT + 4 * DAY)  # fmt: skip
        made_alert(ana, rule="tmp_rise", state="closed", outcome="spoken", closed_by=ana.account,
                   closed_at=A_NIGHT + 2 * DAY)  # fmt: skip
        assert self.changes(ana, "venous") == [2]
        assert self.changes(ana, "tmp") == []
        assert self.changes(ben, "venous") == []
