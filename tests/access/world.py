"""A small world around Ana: one of everything that an address can name, and everybody who might ask for it."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any

from django.test import Client
from django.utils import timezone

from alerts.models import Absence, Alert, AlertStep, PendingEvaluation, PushAddress, Replay, RotaTurn
from alerts.models.choices import StepKind, Urgency
from alerts.rules.base import Evidence
from dosing.models import Job, PlanItem
from dosing.services.importing.taking import receive
from dosing.services.month.computing import compute_month
from dosing.services.month.reviewing import PlanToBe, plan, write
from dosing.services.night.computing import compute
from homedialysis.accounts.models import BedsideDevice, DeviceToken, Role, User
from homedialysis.accounts.services.invitations import new_link
from sessions.facts.choices import EntryKind
from sessions.models import Dialyser, HospitalStay, Laboratory, LeftOut, NotHandedOver, Patient, TreatmentRecord
from sessions.services.handing_over import tell_not_handed_over
from tests.dosing.importing.samples import GOOD, csv_file
from tests.factories import (
    A_NIGHT,
    AccessFactory,
    BloodFactory,
    CarePartnerFactory,
    FindingFactory,
    IntervalFactory,
    MedicationFactory,
    MessageFactory,
    PatientFactory,
    PrescriptionFactory,
    SiteFactory,
    SupplyItemFactory,
    UnitFactory,
    UnitTextFactory,
    UserFactory,
    record_night,
)

ROLES = ("nobody", "patient", "other", "partner", "nurse", "nephrologist", "technologist", "administrator")
"""Who asks for Ana's things: nobody signed in, Ana, the patient Ben, Ana's care partner, and the staff."""


@dataclass(frozen=True)
class World:
    """Everything is Ana's. ids: the value for each name that an address may hold."""

    ana: Patient
    ben: Patient
    record: TreatmentRecord
    ids: dict[str, Any]
    people: dict[str, User | None]

    def client(self, role: str) -> Client:
        client = Client(raise_request_exception=False)
        person = self.people[role]
        if person is not None:
            client.force_login(person)
        return client


def _phone(patient: Patient) -> BedsideDevice:
    return BedsideDevice.objects.create(
        id=uuid.uuid4(), user=patient.account, name="Ana's phone", first_contact=A_NIGHT, last_contact=A_NIGHT
    )


def build_world() -> World:
    UnitFactory()
    ana: Patient = PatientFactory(name="Ana Verdemar", account__email="ana@example.org", hospital_number="H-ANA-77")
    ben: Patient = PatientFactory(name="Ben Okonjo", account__email="ben@example.org")
    staff = {role: UserFactory(role=Role(role)) for role in ROLES[4:]}
    site = SiteFactory(access=AccessFactory(patient=ana), name="Lower", use="arterial")
    PrescriptionFactory(patient=ana, version=1)
    record = record_night(ana, pre_weight_kg=165, sites=[{"site": site.pk, "use": "arterial"}])
    compute(record, at=timezone.now())
    urea = BloodFactory(patient=ana, treatment=record, entered_by=staff["nurse"])
    laboratory = Laboratory.objects.create(name="Quillhaven laboratory")
    lines = csv_file([GOOD.replace("HD-A", ana.hospital_number)])
    came = receive(laboratory=laboratory, form="csv", body=lines, filename="", by=staff["nurse"], at=timezone.now())
    newcomer = UserFactory(role=Role.NURSE, name="Newcomer", is_active=False)
    device, _ = DeviceToken.objects.create(user=ana.account, name="Ana's scale")
    ids = {
        "patient_id": ana.pk,
        "record_id": record.pk,
        "alert_id": _alert(record).pk,
        "pending_id": _put_aside(record).pk,
        "replay_id": _replay(staff["nurse"]).pk,
        "rule": "venous_high",
        "turn_id": _turn(staff["nurse"]).pk,
        "absence_id": _absence(staff["nurse"]).pk,
        "address_id": _browser(staff["nurse"]).pk,
        "user_id": newcomer.pk,
        "device_id": device.public_id,
        "bedside_id": _phone(ana).pk,
        "secret": new_link(user=newcomer, by=staff["administrator"], at=timezone.now()),
        "message_id": MessageFactory(patient=ana, sent_by=staff["nurse"]).pk,
        "import_id": came.pk,
        "result_id": urea.pk,
        "job_id": Job.objects.create(kind="export", asked_by=staff["nephrologist"], asked_at=timezone.now()).pk,
        "month": "2026-03",
        "plan_id": _plan_item(ana, staff["nurse"]).pk,
        "draft_id": ana.drafts.create(values={"minutes": 200}, made_by=staff["nurse"], made_at=timezone.now()).pk,
        "fhir_kind": "Procedure",
        "fhir_key": record.pk,
        "rest": "Patient/1/_history",
        "laboratory_id": laboratory.pk,
        "text_id": UnitTextFactory(kind="run_sheet", technique="buttonhole", patient=ana, made_by=staff["nurse"]).pk,
        "technique": "buttonhole",
        "kind": "checklist",
        "name": "checklist",
        "dialyser_id": Dialyser.objects.get().pk,
        "item_id": SupplyItemFactory().pk,
        "what": "interval",
        "patients_row": IntervalFactory(patient=ana).pk,
        "units_row": IntervalFactory().pk,
        "outcome_what": "stay",
        "outcome_row": _stay(ana, staff["nurse"]).pk,
        "finding_row": FindingFactory(patient=ana, entered_by=staff["nurse"]).pk,
        "medicine_row": MedicationFactory(patient=ana, entered_by=staff["nurse"]).pk,
        "number_key": "uf_rate",
        "month_key": "uf_rate_mean",
        "figure_key": "hospital",
        "entry_id": _not_handed_over(ana).pk,
        "said_id": LeftOut.objects.create(
            patient=ana, day=A_NIGHT.date(), reason="ill", said_by=ana.account, said_at=A_NIGHT, received_at=A_NIGHT
        ).pk,
        "helper_id": CarePartnerFactory(patient=ana, user__name="Ivo, who helps Ana").pk,
        "version": 1,
        "key": "made-up",
        "uidb36": "1",
    }
    family = {"nobody": None, "patient": ana.account, "other": ben.account}
    partner = CarePartnerFactory(patient=ana, user__name="Rui, who helps Ana").user
    return World(ana, ben, record, ids, family | {"partner": partner} | staff)


def _not_handed_over(ana: Patient) -> NotHandedOver:
    assert ana.account is not None
    told = {"what": EntryKind.TREATMENT, "started_at": A_NIGHT, "status": 413, "tries": 1, "since": A_NIGHT}
    return tell_not_handed_over(entry_id=uuid.uuid4(), patient=ana, told=told, by=ana.account, at=timezone.now())


def _stay(ana: Patient, nurse: User) -> HospitalStay:
    day = A_NIGHT.date()
    return HospitalStay.objects.create(
        patient=ana, admitted_on=day, discharged_on=day, entered_by=nurse, entered_at=A_NIGHT
    )


def _plan_item(ana: Patient, nurse: User) -> PlanItem:
    month = A_NIGHT.date().replace(day=1)
    compute_month(ana, month, at=timezone.now())
    review = write(patient=ana, month=month, words="Enough.", for_patient="", by=nurse, at=timezone.now())
    return plan(review=review, item=PlanToBe("Weigh again", nurse, month), by=nurse)


def _alert(record: TreatmentRecord) -> Alert:
    seen = Evidence(at=A_NIGHT, day=record.night, kind="number.uf_rate", value=14, limit=13, record=str(record.pk))
    found: Alert = Alert.objects.create(
        patient=record.patient,
        evidence=[seen.as_json()],
        rule="uf_rate",
        cause="uf_rate",
        urgency=Urgency.CALL_TODAY,
        first_night=A_NIGHT.date(),
        last_night=A_NIGHT.date(),
        opened_at=A_NIGHT,
        last_seen_at=A_NIGHT,
    )
    AlertStep.objects.create(alert=found, kind=StepKind.OPENED, at=A_NIGHT)
    return found


def _replay(person: User) -> Replay:
    found: Replay = Replay.objects.create(why="New limits.", state="stopped", started_by=person, started_at=A_NIGHT)
    return found


def _turn(person: User) -> RotaTurn:
    found: RotaTurn = RotaTurn.objects.create(person=person, weekday=0, begins="08:00", ends="12:00")
    return found


def _absence(person: User) -> Absence:
    found: Absence = Absence.objects.create(person=person, first_day=A_NIGHT.date(), last_day=A_NIGHT.date())
    return found


def _browser(person: User) -> PushAddress:
    found: PushAddress = PushAddress.objects.create(
        person=person,
        endpoint="https://push.example.org/made-up",
        p256dh="x",
        auth="y",
        label="a browser",
        added_at=A_NIGHT,
    )
    return found


def _put_aside(record: TreatmentRecord) -> PendingEvaluation:
    found: PendingEvaluation = PendingEvaluation.objects.create(
        patient=record.patient,
        record=record,
        why="treatment recorded",
        created_at=A_NIGHT,
        due_at=A_NIGHT,
        put_aside_at=A_NIGHT,
        last_error="made up",
    )
    return found
