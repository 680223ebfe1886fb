"""A small world around Ana: one of everything that an address can name, and everybody who might ask for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.test import Client
from django.utils import timezone

from alerts.choices import StepKind, Urgency
from alerts.models import Alert, AlertStep, PendingEvaluation
from alerts.rules.base import Evidence
from dosing.computing import compute
from homedialysis.accounts.models import DeviceToken, Role, User
from homedialysis.accounts.services import new_link
from sessions.models import Patient, TreatmentRecord
from tests.factories import (
    A_NIGHT,
    AccessFactory,
    BloodFactory,
    CarePartnerFactory,
    PatientFactory,
    PrescriptionFactory,
    SiteFactory,
    UnitFactory,
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


def build_world() -> World:
    UnitFactory()
    ana: Patient = PatientFactory(name="Ana Verdemar", account__email="ana@example.org", hospital_number="H-ANA-77")
    ben: Patient = PatientFactory(name="Ben Okonjo", account__email="ben@example.org")
    staff = {role: UserFactory(role=Role(role)) for role in ROLES[4:]}
    site = SiteFactory(access=AccessFactory(patient=ana), name="Lower", use="arterial")
    PrescriptionFactory(patient=ana, version=1)
    record = record_night(ana, pre_weight_kg=165, sites=[{"site": site.pk, "use": "arterial"}])
    compute(record, at=timezone.now())
    BloodFactory(patient=ana, treatment=record, entered_by=staff["nurse"])
    newcomer = UserFactory(role=Role.NURSE, name="Newcomer", is_active=False)
    device, _ = DeviceToken.objects.create(user=ana.account, name="Ana's scale")
    ids = {
        "patient_id": ana.pk,
        "record_id": record.pk,
        "alert_id": _alert(record).pk,
        "pending_id": _put_aside(record).pk,
        "user_id": newcomer.pk,
        "device_id": device.public_id,
        "secret": new_link(user=newcomer, by=staff["administrator"], at=timezone.now()),
        "number_key": "uf_rate",
        "key": "made-up",
        "uidb36": "1",
    }
    family = {"nobody": None, "patient": ana.account, "other": ben.account}
    partner = CarePartnerFactory(patient=ana, user__name="Rui, who helps Ana").user
    return World(ana, ben, record, ids, family | {"partner": partner} | staff)


def _alert(record: TreatmentRecord) -> Alert:
    seen = Evidence(
        at=A_NIGHT, day=record.night, label="UF rate", value=14, unit="mL/kg/h", limit=13, record=str(record.pk)
    )
    found: Alert = Alert.objects.create(
        patient=record.patient,
        evidence=[seen.as_json()],
        rule="uf_rate",
        cause="uf_rate",
        urgency=Urgency.CALL_TODAY,
        title="UF rate over the limit",
        sentence="UF rate 14 mL/kg/h on 2 Mar.",
        first_night=A_NIGHT.date(),
        last_night=A_NIGHT.date(),
        opened_at=A_NIGHT,
        last_seen_at=A_NIGHT,
    )
    AlertStep.objects.create(alert=found, kind=StepKind.OPENED, at=A_NIGHT)
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
