"""Made-up rows for tests: plain, valid, and without surprises."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime, timedelta
from typing import Any

import factory
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from homedialysis.accounts.models import OpeningHours, Role, Unit, User
from sessions.facts.choices_surroundings import WATER_UNITS, WaterKind
from sessions.models import (
    AccessKind,
    AccessSite,
    Anticoagulant,
    BloodResult,
    BloodsDue,
    CarePartner,
    Dialyser,
    Finding,
    Interval,
    Machine,
    Medication,
    Message,
    Patient,
    Prescription,
    Sex,
    Side,
    SiteUse,
    SupplyCount,
    SupplyDelivery,
    SupplyItem,
    TaskDone,
    Technique,
    TextKind,
    Training,
    TreatmentRecord,
    UnitText,
    VascularAccess,
    WaterTest,
)
from sessions.services.document import TreatmentDocument, canonical
from sessions.services.recording import record_treatment
from sessions.services.unit_texts import DEFAULTS

PASSWORD = "a long phrase for tests"
LONG_AGO = datetime(2025, 1, 1, tzinfo=UTC)
A_NIGHT = datetime(2026, 3, 2, 21, 30, tzinfo=UTC)
"""When a made-up treatment begins, unless a test says otherwise."""


class UnitFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Unit
        skip_postgeneration_save = True

    name = "Home dialysis unit, Quillhaven"
    time_zone = "Europe/Lisbon"
    emergency_number = "112"
    on_call_number = "01632 960100"

    @factory.post_generation
    def hours(self, create: bool, extracted: Any, **kwargs: Any) -> None:
        for weekday in range(5):
            OpeningHours.objects.create(unit=self, weekday=weekday, opens="08:00", closes="17:00")


class UserFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = User
        skip_postgeneration_save = True

    name = factory.Sequence(lambda n: f"Person {n}")
    email = factory.Sequence(lambda n: f"person{n}@example.org")
    role = Role.PATIENT
    password = factory.django.Password(PASSWORD)


class PatientFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Patient

    account = factory.SubFactory(UserFactory, role=Role.PATIENT, name=factory.SelfAttribute("..name"))
    name = factory.Sequence(lambda n: f"Patient {n}")
    hospital_number = factory.Sequence(lambda n: f"H{n:05}")
    birth_date = date(1970, 5, 17)
    sex = Sex.MALE
    height_cm = 175
    phone = "01632 960200"
    joined_on = date(2025, 1, 1)


class CarePartnerFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = CarePartner

    patient = factory.SubFactory(PatientFactory)
    user = factory.SubFactory(UserFactory, role=Role.CARE_PARTNER)


class AccessFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = VascularAccess

    patient = factory.SubFactory(PatientFactory)
    kind = AccessKind.FISTULA
    side = Side.LEFT
    place = "forearm"
    created_on = date(2024, 6, 1)


class SiteFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = AccessSite

    access = factory.SubFactory(AccessFactory)
    name = factory.Sequence(lambda n: f"Site {n}")
    use = SiteUse.ARTERIAL
    technique = Technique.ROPE_LADDER


class DialyserFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Dialyser
        django_get_or_create = ("name",)

    name = "Fenrow 17"
    koa_ml_min = 1000
    surface_m2 = 1.7


class PrescriptionFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Prescription

    patient = factory.SubFactory(PatientFactory)
    version = factory.Sequence(lambda n: n + 1)
    in_force = factory.LazyFunction(lambda: DateTimeTZRange(LONG_AGO, None))
    days_per_week = 3
    weekdays = factory.LazyFunction(lambda: [0, 2, 4])
    minutes = 240
    max_minutes = 300
    qb_ml_min = 300
    qd_ml_min = 500
    dialyser = factory.SubFactory(DialyserFactory)
    dialysate_k_mmol_l = 2
    dialysate_ca_mmol_l = 1.5
    dialysate_buffer_mmol_l = 35
    dialysate_na_mmol_l = 138
    dialysate_temperature_c = 36.5
    target_weight_kg = 70
    uf_rate_limit_ml_kg_h = 10
    anticoagulant = Anticoagulant.HEPARIN
    bolus_units = 2000
    needle_gauge = 15
    reading_interval_minutes = 60
    signed_by = factory.SubFactory(UserFactory, role=Role.NEPHROLOGIST)
    signed_at = LONG_AGO


def night_body(
    start: datetime = A_NIGHT, *, minutes: int = 240, readings: int | list[Any] = 3, **changes: Any
) -> dict[str, Any]:
    """A plain night as the phone would send it: 72 kg down to 70 kg in four hours, nothing unusual.

    readings: how many plain ones, or the rows themselves.
    """
    count = readings if isinstance(readings, int) else 0
    step = timedelta(minutes=minutes / (count + 1))
    body = {
        "status": "finished",
        "started_at": start.isoformat(),
        "ended_at": (start + timedelta(minutes=minutes)).isoformat(),
        "pre_weight_kg": 72.0,
        "pre_systolic": 140,
        "pre_diastolic": 80,
        "post_weight_kg": 70.0,
        "post_systolic": 128,
        "post_diastolic": 74,
        "uf_removed_l": 2.3,
        "rinse_back_l": 0.3,
        "intake_l": 0.0,
        "readings": [
            {
                "at": (start + step * (index + 1)).isoformat(),
                "qb_ml_min": 300,
                "qd_ml_min": 500,
                "arterial_mmhg": -140,
                "venous_mmhg": 130,
                "uf_rate_ml_h": 575,
                "systolic": 130,
                "diastolic": 76,
            }
            for index in range(count)
        ],
    }
    return body | ({} if isinstance(readings, int) else {"readings": readings}) | changes


def record_night(
    patient: Patient,
    start: datetime = A_NIGHT,
    *,
    by: User | None = None,
    at: datetime | None = None,
    **changes: Any,
) -> TreatmentRecord:
    """Record a night through the real service; the id is made from patient and start."""
    now = at or start + timedelta(hours=12)
    reader = TreatmentDocument(data=night_body(start, **changes), context={"patient": patient, "now": now})
    reader.is_valid(raise_exception=True)
    record_id = uuid.uuid5(patient.pk, start.isoformat())
    author = by or patient.account
    assert author is not None
    return record_treatment(
        record_id=record_id, patient=patient, document=canonical(reader.validated_data), by=author, at=now
    ).record


class MessageFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Message

    patient = factory.SubFactory(PatientFactory)
    words = "Please bring the blood tubes on Thursday."
    sent_by = factory.SubFactory(UserFactory, role=Role.NURSE)
    sent_at = A_NIGHT


class UnitTextFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = UnitText

    kind = TextKind.CHECKLIST
    technique = ""
    version = factory.Sequence(lambda n: n + 1)
    content = factory.LazyAttribute(lambda text: DEFAULTS[text.kind](text.technique or Technique.ROPE_LADDER))
    why = "Made our own."
    made_by = factory.SubFactory(UserFactory, role=Role.NURSE)
    made_at = A_NIGHT


class BloodFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = BloodResult

    patient = factory.SubFactory(PatientFactory)
    analyte = "22664-7"
    value = 20
    drawn_at = A_NIGHT
    timing = "pre"
    entered_by = factory.SubFactory(UserFactory, role=Role.NURSE)
    entered_at = A_NIGHT


class FindingFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Finding

    patient = factory.SubFactory(PatientFactory)
    kind = "lungs"
    values = factory.LazyFunction(lambda: {"b_lines": 12})
    found_on = A_NIGHT.date()
    entered_by = factory.SubFactory(UserFactory, role=Role.NURSE)
    entered_at = A_NIGHT


class MedicationFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Medication

    patient = factory.SubFactory(PatientFactory)
    kind = "esa"
    name = "Darbepoetin alfa"
    atc = "B03XA02"
    amount = 30
    unit = "ug"
    times = 1
    period = "week"
    from_on = A_NIGHT.date()
    entered_by = factory.SubFactory(UserFactory, role=Role.NURSE)
    entered_at = A_NIGHT


class WaterTestFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = WaterTest

    patient = factory.SubFactory(PatientFactory)
    kind = "bacteria"
    value = 10
    unit = factory.LazyAttribute(lambda test: WATER_UNITS[WaterKind(test.kind)])
    sampled_at = A_NIGHT
    fluid = "dialysis_water"
    place = "product"
    entered_by = factory.SubFactory(UserFactory, role=Role.TECHNOLOGIST)
    entered_at = A_NIGHT


class MachineFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Machine

    patient = factory.SubFactory(PatientFactory)
    kind = "dialysis"
    name = "Larkfield 3"
    serial = factory.Sequence(lambda n: f"LK-{n:04}")
    since = date(2025, 1, 1)


class TaskDoneFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = TaskDone

    patient = factory.SubFactory(PatientFactory)
    kind = "disinfection"
    done_at = A_NIGHT
    entered_by = factory.SubFactory(UserFactory, role=Role.TECHNOLOGIST)
    entered_at = A_NIGHT


class SupplyItemFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = SupplyItem

    name = factory.Sequence(lambda n: f"Item {n}")
    unit_word = "pieces"
    per_treatment = 1
    cover_days = 14


class SupplyCountFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = SupplyCount

    patient = factory.SubFactory(PatientFactory)
    item = factory.SubFactory(SupplyItemFactory)
    counted_at = A_NIGHT
    count = 20
    entered_by = factory.SubFactory(UserFactory, role=Role.NURSE)
    entered_at = A_NIGHT


class DeliveryFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = SupplyDelivery

    patient = factory.SubFactory(PatientFactory)
    item = factory.SubFactory(SupplyItemFactory)
    count = 24
    expected_on = A_NIGHT.date()
    entered_by = factory.SubFactory(UserFactory, role=Role.NURSE)
    entered_at = A_NIGHT


class TrainingFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Training

    patient = factory.SubFactory(PatientFactory)
    topic = "Needles"
    done_on = date(2025, 3, 1)
    valid_until = date(2026, 3, 1)
    trained_by = "Nurse Kim"
    entered_by = factory.SubFactory(UserFactory, role=Role.NURSE)
    entered_at = LONG_AGO


class IntervalFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Interval

    kind = "disinfection"
    every_days = 7
    set_by = factory.SubFactory(UserFactory, role=Role.NURSE)
    set_at = LONG_AGO


class BloodsDueFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = BloodsDue

    name = "Monthly"
    analytes = factory.LazyFunction(lambda: ["22664-7", "2823-3"])
    every_weeks = 4
    set_by = factory.SubFactory(UserFactory, role=Role.NURSE)
    set_at = LONG_AGO
