"""Whatever changes a judgement is news, in the transaction that brings it, and stays news whatever else waits."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from alerts.models import Alert, PendingEvaluation, Routine
from alerts.rules import RULES
from alerts.services import news, outbox
from alerts.services.evaluation import evaluate_pending
from alerts.services.history import history_of
from alerts.services.limit_setting import set_limit
from alerts.services.muting import lift, mute
from alerts.services.reconciling import reconcile
from homedialysis.accounts.models import Unit, User
from sessions.models import (
    AccessInfection,
    HospitalStay,
    Patient,
    TreatmentRecord,
    UrineCollection,
    WaterStandard,
)
from sessions.services import outcomes, surroundings
from sessions.services.bloods import enter_bloods
from sessions.services.enrolment import invite_care_partner
from sessions.services.prescribing import sign_prescription
from sessions.services.prescription_changes import acknowledge
from tests.alerts.builders import DAY, MORNING, evaluated
from tests.crowd import ours
from tests.factories import (
    A_NIGHT,
    AccessFactory,
    BloodFactory,
    BloodsDueFactory,
    DeliveryFactory,
    IntervalFactory,
    MachineFactory,
    PatientFactory,
    PrescriptionFactory,
    SupplyCountFactory,
    SupplyItemFactory,
    TaskDoneFactory,
    TrainingFactory,
    WaterTestFactory,
    record_night,
)

NO_NEWS = {
    "treatment_medication": "what is taken is told beside a low pressure; nothing is judged by it",
    "accounts_user": "only its name is shown",
    "alerts_alert": "what the program and the nurses do is no news for the rules",
    "alerts_alertstep": "the same",
    "alerts_routine": "how long a closed alert goes on: asked for when the same is seen again",
    "alerts_pendingevaluation": "the outbox itself",
    "dosing_recordnumbers": "computed where the record that it hangs on is evaluated",
    "django_content_type": "no fact of a treatment",
    "treatment_accesssite": "only to which access a used site belongs, which never changes",
}
"""Tables that are read when a patient is judged and bring no news by themselves, each with the reason."""
OF_A_RECORD = {"Reading", "Event", "AnsweredCheck", "SiteUsed", "TreatmentRecord"}
"""Written with their record, whose recording is the news."""

Act = Callable[["World"], Any]


class World:
    """Ana with what stands around her, and who acts."""

    def __init__(self, ana: Patient, nurse: User, nephrologist: User) -> None:
        self.ana, self.nurse, self.doctor = ana, nurse, nephrologist
        self.order = PrescriptionFactory(patient=ana, version=1)
        self.access = AccessFactory(patient=ana)
        self.record = record_night(ana)
        self.interval = IntervalFactory(patient=ana, kind="service", every_days=100)
        self.machine = MachineFactory(patient=ana)
        self.water = WaterTestFactory(patient=ana)
        self.delivery = DeliveryFactory(patient=ana)
        self.item = SupplyItemFactory()

    def noted(self, entry: Any) -> Any:
        return surroundings.note(entry, by=self.nurse, at=MORNING)

    def kept(self, row: Any) -> Any:
        return surroundings.keep(row, by=self.nurse, at=MORNING)

    def changed(self, row: Any, **columns: Any) -> Any:
        for name, value in columns.items():
            setattr(row, name, value)
        return surroundings.keep(row, by=self.nurse, at=MORNING)

    def infection(self) -> AccessInfection:
        return AccessInfection(access=self.access, kind="site", began_on=A_NIGHT.date())

    def stay(self) -> HospitalStay:
        return HospitalStay(patient=self.ana, admitted_on=A_NIGHT.date())

    def muted(self) -> Any:
        until = MORNING + 10 * DAY
        return mute(patient=self.ana, rule="uf_rate", until=until, why="x", by=self.nurse, at=MORNING)


@pytest.fixture
def world(ana: Patient, nurse: User, nephrologist: User) -> World:
    made = World(ana, nurse, nephrologist)
    ours(PendingEvaluation).delete()
    return made


def limit(world: World, patient: Patient | None) -> Any:
    return set_limit(name="uf_rate", patient=patient, value=11, why="x", by=world.nurse, at=MORNING)


OF_ANA: dict[str, Act] = {
    "a limit of hers": lambda w: limit(w, w.ana),
    "a mute": lambda w: w.muted(),
    "a mute lifted": lambda w: (w.muted(), ours(PendingEvaluation).delete(),
                                lift(patient=w.ana, rule="uf_rate", why="x", by=w.nurse, at=MORNING + DAY)),
    "bloods": lambda w: enter_bloods(
        results=[BloodFactory.build(patient=w.ana, timing="apart")], by=w.nurse, at=MORNING),
    "a prescription": lambda w: sign_prescription(
        prescription=PrescriptionFactory.build(patient=w.ana, dialyser=w.order.dialyser), by=w.doctor, at=MORNING),
    "an acknowledgement": lambda w: acknowledge(prescription=w.order, by=w.ana.account, at=MORNING, now=MORNING),
    "an infection": lambda w: outcomes.keep(w.infection(), by=w.nurse, at=MORNING),
    "a hospital stay": lambda w: outcomes.keep(w.stay(), by=w.nurse, at=MORNING),
    "a water test": lambda w: w.noted(WaterTestFactory.build(patient=w.ana, sampled_at=MORNING)),
    "a water test put right": lambda w: surroundings.correct(w.water, by=w.nurse, at=MORNING),
    "a water test taken back": lambda w: surroundings.take_back(w.water, why="x", by=w.nurse, at=MORNING),
    "a count": lambda w: w.noted(SupplyCountFactory.build(patient=w.ana, item=w.item)),
    "a delivery that came": lambda w: surroundings.deliver(
        w.delivery, arrived_at=MORNING, arrived=None, by=w.nurse, at=MORNING),
    "a task done": lambda w: w.noted(TaskDoneFactory.build(patient=w.ana)),
    "training": lambda w: w.noted(TrainingFactory.build(patient=w.ana)),
    "a machine": lambda w: w.kept(MachineFactory.build(patient=w.ana, kind="water")),
    "a machine gone": lambda w: w.changed(w.machine, until=MORNING.date()),
    "an interval of hers": lambda w: w.changed(w.interval, every_days=50),
    "an interval given up": lambda w: surroundings.give_up_own(w.interval, at=MORNING),
    "bloods to draw": lambda w: w.kept(BloodsDueFactory.build(patient=w.ana)),
    "a care partner": lambda w: invite_care_partner(
        patient=w.ana, email="rui@example.org", name="Rui", by=w.nurse, at=MORNING),
}  # fmt: skip
OF_THE_UNIT: dict[str, Act] = {
    "a limit of the unit": lambda w: limit(w, None),
    "an interval of the unit": lambda w: w.kept(IntervalFactory.build()),
    "bloods that all draw": lambda w: w.kept(BloodsDueFactory.build()),
    "the standard of water": lambda w: w.kept(WaterStandard(edition="us_2004")),
    "an item of the list": lambda w: w.changed(w.item, cover_days=20),
}


@pytest.mark.parametrize("what", OF_ANA)
def test_news_of_one_patient(world: World, ben: Patient, what: str) -> None:
    OF_ANA[what](world)
    row = ours(PendingEvaluation).get()
    assert row.patient == world.ana
    assert row.record is None
    assert ours(PendingEvaluation).due(max(row.created_at, MORNING + DAY)).exists(), "due at once"


@pytest.mark.parametrize("what", OF_THE_UNIT)
def test_news_of_the_unit_is_news_of_everybody_in_the_programme(world: World, ben: Patient, what: str) -> None:
    PatientFactory(left_on=A_NIGHT.date())
    OF_THE_UNIT[what](world)
    rows = ours(PendingEvaluation)
    assert sorted(str(row.patient_id) for row in rows) == sorted(str(each.pk) for each in (world.ana, ben))
    assert {row.record for row in rows} == {None}


@pytest.mark.parametrize("what", [*OF_ANA, *OF_THE_UNIT])
def test_what_is_written_stands_or_falls_with_its_news(
    world: World, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    """Where the row of the outbox cannot be written, nothing is: there is no moment in which news could be lost."""

    def fail(**news: Any) -> None:
        raise RuntimeError("no outbox")

    def rows() -> dict[str, list[tuple[Any, ...]]]:
        return {model.__name__: list(model._default_manager.order_by("pk").values_list()) for model in news.SOURCES}

    act: Act = (OF_ANA | OF_THE_UNIT)[what]
    if what == "a mute lifted":
        world.muted()
        act = lambda w: lift(patient=w.ana, rule="uf_rate", why="x", by=w.nurse, at=MORNING + DAY)  # noqa: E731
    before = rows()
    monkeypatch.setattr(outbox, "add", fail)
    monkeypatch.setattr(outbox, "add_for_everybody", fail)
    with pytest.raises(RuntimeError, match="no outbox"):
        act(world)
    assert rows() == before


class TestPages:
    """Pages that save by themselves."""

    @pytest.fixture(autouse=True)
    def refusing(self, world: World, monkeypatch: pytest.MonkeyPatch) -> None:
        """The client raises what a view raises."""
        self.rows: list[str] = []

        def fail(**news: Any) -> None:
            raise RuntimeError("no outbox")

        monkeypatch.setattr(outbox, "add", fail)
        monkeypatch.setattr(outbox, "add_for_everybody", fail)

    def test_a_patient_who_leaves(self, world: World, nurse_client: Client) -> None:
        form = {"left_on": "2026-03-20", "left_reason": "transplant"}
        with pytest.raises(RuntimeError):
            nurse_client.post(reverse("dosing:outcomes", args=[world.ana.pk]), {"what": "leave", **form})
        world.ana.refresh_from_db()
        assert world.ana.left_on is None

    def test_an_access_given_up(self, world: World, nurse_client: Client) -> None:
        with pytest.raises(RuntimeError):
            nurse_client.post(reverse("treatments:access", args=[world.ana.pk]), {"task": "give up"})
        world.access.refresh_from_db()
        assert world.access.abandoned_on is None

    def test_the_unit_moves_to_another_zone(self, world: World, administrator: User) -> None:
        client = Client()
        client.force_login(administrator)
        page = client.get(reverse("accounts:unit"))
        hours = page.context["hours"]
        stood = {name: value for name, value in page.context["form"].initial.items() if value is not None}
        empty = {f"{hours.prefix}-{key}": 0 for key in ("TOTAL_FORMS", "INITIAL_FORMS")}
        data = stood | {"on_call_number": "01632 960100", "time_zone": "Europe/Madrid"} | empty
        with pytest.raises(RuntimeError):
            client.post(reverse("accounts:unit"), data)
        assert Unit.objects.get().time_zone == "Europe/Lisbon"


def test_bloods_tied_to_a_treatment_are_news_of_that_record(world: World) -> None:
    drawn = {"drawn_at": world.record.started_at, "timing": "pre"}
    results = [BloodFactory.build(patient=world.ana, analyte=analyte, **drawn) for analyte in ("22664-7", "2823-3")]
    enter_bloods(results=results, by=world.nurse, at=MORNING)
    assert ours(PendingEvaluation).get().record == world.record


def test_a_result_that_changes_its_treatment_is_news_of_both(world: World) -> None:
    other = record_night(world.ana, A_NIGHT + 2 * DAY)
    result = BloodFactory(patient=world.ana, treatment=world.record)
    result.treatment = other
    result.save()
    assert {row.record for row in ours(PendingEvaluation)} == {world.record, other}


def test_a_new_access_is_news_of_the_nights_since_it_was_made(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    later = record_night(world.ana, A_NIGHT + 4 * DAY)
    ours(PendingEvaluation).delete()
    monkeypatch.setattr("alerts.services.news.timezone.now", lambda: MORNING + 5 * DAY)
    world.access.abandoned_on = (A_NIGHT + 2 * DAY).date()
    world.access.save()
    assert {row.record for row in ours(PendingEvaluation)} == {world.record, later}
    ours(PendingEvaluation).delete()
    AccessFactory.build(patient=world.ana, created_on=(A_NIGHT + 3 * DAY).date()).save()
    assert ours(PendingEvaluation).get().record == later


def test_a_urine_collection_is_news_of_the_doses_that_count_the_kidney(world: World) -> None:
    """Of the treatments with bloods after it, and again once the blood of one of its ends comes."""
    later = record_night(world.ana, A_NIGHT + 4 * DAY)
    BloodFactory(patient=world.ana, treatment=later, timing="pre", drawn_at=later.started_at)
    ours(PendingEvaluation).delete()
    ended = A_NIGHT + 2 * DAY
    collection = UrineCollection(
        patient=world.ana, began_at=ended - DAY, ended_at=ended, volume_ml=800, urea_mmol_l=120,
        entered_by=world.nurse, entered_at=MORNING,
    )  # fmt: skip
    collection.save()
    assert {row.record for row in ours(PendingEvaluation)} == {later}
    ours(PendingEvaluation).delete()
    BloodFactory.build(patient=world.ana, timing="apart", drawn_at=ended, entered_by=world.nurse).save()
    assert later in {row.record for row in ours(PendingEvaluation)}


def test_whoever_writes_past_the_models_tells_by_hand(world: World, ben: Patient) -> None:
    noted = {"entered_by": world.nurse, "sampled_at": MORNING}
    made = [WaterTestFactory.build(patient=patient, **noted) for patient in (world.ana, ben)]
    with transaction.atomic():
        news.tell(type(made[0]).objects.bulk_create(made))
    assert {row.patient for row in ours(PendingEvaluation)} == {world.ana, ben}


def test_a_patient_taken_out_whole_takes_the_news_along(world: World, ben: Patient) -> None:
    for made in (WaterTestFactory, MachineFactory, AccessFactory, IntervalFactory):
        made(patient=ben)
    ben.delete()
    assert not ours(PendingEvaluation).exists()


def test_every_table_that_a_judgement_reads_is_a_source_of_news(world: World) -> None:
    """A rule that looks at something new cannot do without the news of it."""
    Routine.objects.create()
    with CaptureQueriesContext(connection) as asked:
        reconcile(history_of(world.ana, at=MORNING), RULES, at=MORNING)
    read = {word.strip('"') for query in asked for word in query["sql"].replace(".", " ").split() if word[:1] == '"'}
    known = {model._meta.db_table for model in news.SOURCES} | NO_NEWS.keys()
    known |= {
        model._meta.db_table for model in TreatmentRecord._meta.apps.get_models() if model.__name__ in OF_A_RECORD
    }
    every = {model._meta.db_table: model for model in TreatmentRecord._meta.apps.get_models()}
    unknown = {name for name in read & every.keys() - known if not name.endswith("event")}
    assert unknown == set()
    assert len(read & known) > 20


class TestNeverDropped:
    """News that comes while other news of the patient is in work, failed, or was put aside."""

    def note(self, world: World) -> None:
        world.noted(WaterTestFactory.build(patient=world.ana, sampled_at=MORNING))

    def test_while_a_worker_holds_the_row_that_waited(self, world: World) -> None:
        outbox.add(patient_id=world.ana.pk, why="first", at=MORNING)
        (held,) = outbox.claim(at=MORNING) or []
        self.note(world)
        held.delete()  # the worker has read what there was, and is done
        assert ours(PendingEvaluation).due(MORNING).count() == 1

    def test_while_a_row_is_put_aside(self, world: World) -> None:
        outbox.add(patient_id=world.ana.pk, why="first", at=MORNING)
        ours(PendingEvaluation).update(put_aside_at=MORNING, attempts=5)
        self.note(world)
        assert ours(PendingEvaluation).due(MORNING).count() == 1
        assert ours(PendingEvaluation).put_aside().count() == 1

    def test_while_a_row_waits_after_its_failure(self, world: World) -> None:
        outbox.add(patient_id=world.ana.pk, why="first", at=MORNING)
        ours(PendingEvaluation).update(attempts=3, due_at=MORNING + timedelta(hours=1))
        self.note(world)
        assert ours(PendingEvaluation).due(MORNING).count() == 1

    def test_one_row_is_enough_for_news_that_nobody_has_begun_with(self, world: World) -> None:
        self.note(world)
        world.noted(TaskDoneFactory.build(patient=world.ana))
        assert ours(PendingEvaluation).count() == 1

    def test_what_was_put_aside_goes_when_the_same_has_been_evaluated(self, world: World) -> None:
        other = record_night(world.ana, A_NIGHT + 2 * DAY)
        ours(PendingEvaluation).delete()
        for record in (None, world.record, other):
            PendingEvaluation.objects.create(
                patient=world.ana, record=record, why="x", created_at=MORNING, due_at=MORNING, put_aside_at=MORNING
            )
        outbox.add(patient_id=world.ana.pk, record_id=world.record.pk, why="again", at=MORNING)
        assert evaluate_pending(at=MORNING) == 1
        assert ours(PendingEvaluation).get().record == other


class TestJudgedAtOnce:
    """What an open alert does when something beside the nights changes."""

    @pytest.fixture
    def too_high(self, ana: Patient, anas_prescription: Any) -> Alert:
        evaluated(ana, {"pre_systolic": 185})
        return ours(Alert).get(rule="pressure_high")

    def test_a_looser_limit_leaves_the_nights_before_as_they_were(self, too_high: Alert, nurse: User) -> None:
        set_limit(name="systolic_high", patient=None, value=195, why="x", by=nurse, at=MORNING + DAY)
        before = ours(Alert).filter(rule="pressure_high").values("evidence", "limit", "state", "urgency").get()
        assert evaluate_pending(at=MORNING + DAY) == Patient.objects.in_programme().count()
        assert ours(Alert).filter(rule="pressure_high").values("evidence", "limit", "state", "urgency").get() == before

    def test_a_limit_of_what_is_due_judges_today(self, ana: Patient, nurse: User) -> None:
        """Overdue by a day: within the days that the unit allows, until it allows none."""
        MachineFactory(patient=ana, kind="dialysis", since=(MORNING - 8 * DAY).date())
        IntervalFactory(patient=ana, kind="disinfection", every_days=7)
        for kind in ("filter_change", "service"):
            IntervalFactory(patient=ana, kind=kind, every_days=None, stopped=True)
        set_limit(name="due_days", patient=None, value=5, why="x", by=nurse, at=MORNING - DAY)
        evaluate_pending(at=MORNING)
        assert not ours(Alert).filter(rule="care_overdue").exists()
        set_limit(name="due_days", patient=None, value=0, why="x", by=nurse, at=MORNING)
        evaluate_pending(at=MORNING)
        assert ours(Alert).filter(rule="care_overdue").exists()

    def test_a_task_done_ends_what_was_overdue(self, ana: Patient, nurse: User) -> None:
        MachineFactory(patient=ana, kind="dialysis", since=(MORNING - 60 * DAY).date())
        IntervalFactory(patient=ana, kind="disinfection", every_days=7)
        for kind in ("filter_change", "service"):
            IntervalFactory(patient=ana, kind=kind, every_days=None, stopped=True)
        outbox.add(patient_id=ana.pk, why="x", at=MORNING)
        evaluate_pending(at=MORNING)
        assert ours(Alert).get(rule="care_overdue").cause_gone_at is None
        surroundings.note(TaskDoneFactory.build(patient=ana, done_at=MORNING), by=nurse, at=MORNING)
        evaluate_pending(at=MORNING)
        assert ours(Alert).get(rule="care_overdue").cause_gone_at == MORNING
