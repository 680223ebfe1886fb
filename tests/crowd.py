"""A crowded world: another patient with extreme rows of every model that hangs on a patient.

She is of another household, and nothing of hers may be seen in what is asked about anybody else. The database tests of
some folders (`conftest.crowded`) run with her rows in place: a query that loses its patient then answers with her
numbers, all outside every limit.

The rows are made once in a run, by the services where a service lays something out, else by filling whatever fields a
model has; a model that is new gets its row by itself, or `build` says which of its fields it cannot fill.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.apps import apps
from django.db import connection, models, transaction
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from alerts.limits.kinds import KINDS
from alerts.models import Alert, AlertMessage, AlertStep, Call, Limit, Mute, PendingEvaluation, Replay, ReplayChunk
from alerts.models.choices import AlertState, CallResult, Outcome, StepKind, Urgency
from alerts.rules import RULES
from alerts.rules.base import Evidence
from dosing.models import MonthlyReview, PatientMonth, RecordNumbers
from dosing.services.month.computing import compute_month
from dosing.services.night.computing import compute
from homedialysis.accounts.models import BedsideDevice, DeviceToken, OpeningHours, ReadLog, Role, Unit, User
from sessions.facts import fields, plausible
from sessions.facts.choices_surroundings import WATER_UNITS, WaterKind
from sessions.models import (
    AccessInfection,
    BloodResult,
    BloodsDue,
    HospitalStay,
    Interval,
    LabLine,
    LabMessage,
    Machine,
    Message,
    Patient,
    Prescription,
    PrescriptionAcknowledgement,
    SupplyCount,
    SupplyDelivery,
    SupplyItem,
    TaskDone,
    TextKind,
    Training,
    TreatmentRecord,
    UnitText,
    UrineCollection,
    WaterTest,
)
from tests.factories import (
    A_NIGHT,
    AccessFactory,
    CarePartnerFactory,
    DialyserFactory,
    PatientFactory,
    PrescriptionFactory,
    SiteFactory,
    UnitFactory,
    UserFactory,
    record_night,
)

NAME = "Zora Quandt"
WORD = "quandtish"
"""Stands in every text of hers, and nowhere else."""
NUMBER = 9999
LONG_AGO, AFTERWARDS, FAR_AHEAD = (datetime(year, 5, 1, tzinfo=UTC) for year in (2025, 2026, 2200))
DAY = timedelta(days=1)
NIGHTS = (A_NIGHT - DAY, A_NIGHT + 1.1 * DAY, A_NIGHT - 5 * DAY, A_NIGHT - timedelta(hours=1), A_NIGHT - 3 * DAY)
"""When hers began: around the moments at which tests look, and not in the order in which they are made."""
MOMENTS = (A_NIGHT + timedelta(hours=5), A_NIGHT - DAY, A_NIGHT + 2 * DAY, A_NIGHT - timedelta(minutes=7))
OURS = ("accounts", "treatment", "dosing", "alerts")
Row = dict[str, Any]


def own_models() -> list[type[models.Model]]:
    """Every model of the project; not the tables that triggers fill."""
    return [
        model for label in OURS for model in apps.get_app_config(label).get_models() if not hasattr(model, "pgh_obj")
    ]


def models_of_a_patient() -> list[type[models.Model]]:
    """Those that point to a patient, themselves or through others; each after those it points to."""
    found: list[type[models.Model]] = [Patient]
    while more := [model for model in own_models() if model not in found and _points_to(model, found)]:
        found += more
    in_order: list[type[models.Model]] = [Patient]
    while waiting := [model for model in found if model not in in_order]:
        ready = [model for model in waiting if not _points_to(model, waiting)]
        assert ready, f"these models point at each other in a circle: {waiting}"
        in_order += ready
    return in_order[1:]


def _points_to(model: type[models.Model], among: list[type[models.Model]]) -> bool:
    fields = [field for field in model._meta.concrete_fields if field.is_relation]
    return any(field.related_model in among and field.related_model is not model for field in fields)


def path_to_patient(model: type[models.Model]) -> str:
    """The lookup that leads from a model to the patient: "record__patient"."""
    steps = [field for field in model._meta.concrete_fields if field.is_relation]
    for field in steps:
        if field.related_model is Patient:
            return field.name
    known = models_of_a_patient()
    onward = next(field for field in steps if field.related_model in known and field.related_model is not model)
    return f"{onward.name}__{path_to_patient(onward.related_model)}"  # type: ignore[arg-type]


class Crowd:
    """What `build` makes, row by row."""

    def __init__(self) -> None:
        self.made: dict[type[models.Model], list[Any]] = {}

    def build(self) -> None:
        unit = UnitFactory()
        self._people()
        self._treatments()
        for model in models_of_a_patient():
            if model not in self.made:
                rows = [{}] if model not in ROWS else ROWS[model](self)
                self.made[model] = [self.row(model, **given) for given in rows]
        self._computed()
        self._beside()
        OpeningHours.objects.all().delete()
        Unit.objects.filter(pk=unit.pk).delete()  # whose test wants one makes it

    def _people(self) -> None:
        self.patient = PatientFactory(
            name=NAME, hospital_number=f"H-{WORD}", phone=WORD, height_cm=60, birth_date=date(1920, 1, 1), sex="female"
        )
        self.patient.joined_on = date(2024, 1, 1)
        self.patient.save()
        self.staff: User = UserFactory(name=f"Dr {WORD}", role=Role.NEPHROLOGIST, is_active=False)
        self.item = SupplyItem.objects.create(name=WORD, unit_word=WORD, per_treatment=100, in_use=False)
        self.made |= {Patient: [self.patient], User: [self.staff], SupplyItem: [self.item]}
        partner = CarePartnerFactory(patient=self.patient, user__name=f"Partner {WORD}")
        self.made[type(partner)] = [partner]

    def _treatments(self) -> None:
        access = AccessFactory(patient=self.patient, kind="catheter", place=WORD, created_on=date(2025, 6, 1))
        old = AccessFactory(
            patient=self.patient, place=WORD, created_on=date(2020, 1, 1), abandoned_on=date(2025, 6, 1)
        )
        sites = [SiteFactory(access=each, name=WORD, use="both", resting=True) for each in (access, old)]
        dialyser = DialyserFactory(name=WORD, koa_ml_min=100, surface_m2=0.1)
        orders = [
            PrescriptionFactory(
                patient=self.patient, version=version, in_force=DateTimeTZRange(*span), dialyser=dialyser,
                signed_by=self.staff, note=WORD, **PRESCRIBED
            )
            for version, span in ((2, (A_NIGHT - 4 * DAY, None)), (0, (LONG_AGO, A_NIGHT - 4 * DAY)))
        ]  # fmt: skip
        self.made |= {type(access): [access, old], type(sites[0]): sites, type(orders[0]): orders}
        records = [record_night(self.patient, start, **_night(start, sites[0].pk, self.item.pk)) for start in NIGHTS]
        self.made[TreatmentRecord] = records
        for part in TreatmentRecord._meta.related_objects:
            if part.related_model._meta.verbose_name in PARTS_OF_A_RECORD:  # made by the service with the record
                self.made[part.related_model] = list(part.related_model._default_manager.filter(record__in=records))

    def _computed(self) -> None:
        for record in self.made[TreatmentRecord]:
            compute(record, at=AFTERWARDS)
        PatientMonth.objects.filter(patient=self.patient).delete()
        for month in (date(2026, 2, 1), date(2026, 3, 1)):
            compute_month(self.patient, month, at=AFTERWARDS)
        PendingEvaluation.objects.filter(patient=self.patient).delete()
        self.row(PendingEvaluation, due_at=FAR_AHEAD)

    def _beside(self) -> None:
        """What hangs on her account, and what names her without pointing."""
        account = self.patient.account
        self.row(BedsideDevice, id=uuid.uuid4(), user=account, session_key="")
        DeviceToken.objects.create(user=account, name=WORD)
        self.row(ReadLog, user=self.staff, patient_id=self.patient.pk)

    def row(self, model: type[models.Model], **given: Any) -> Any:
        """One row of a model: as given, and every other field filled to the brim."""
        values: Row = {}
        for field in model._meta.concrete_fields:
            own_key = field.primary_key and not field.is_relation
            if field.name not in given and not own_key:
                values |= self._filled(field)
        one = model(**(values | given))
        try:
            with transaction.atomic():
                one.save(force_insert=True)
        except Exception as problem:
            raise AssertionError(f"tests/crowd.py cannot fill {model.__name__}: name its fields in ROWS") from problem
        return one

    def _filled(self, field: models.Field[Any, Any]) -> Row:
        if field.is_relation:
            return self._pointing(field)
        until = field.null and isinstance(field, models.DateField)
        if field.has_default() or until or field.name in LEFT_EMPTY:
            return {}
        for kind, value in BY_TYPE:
            if isinstance(field, kind):
                whole = value[: field.max_length] if isinstance(value, str) else value
                return {field.name: field.choices[-1][0] if field.choices else whole}  # type: ignore[index]
        return {}

    def _pointing(self, field: models.Field[Any, Any]) -> Row:
        known = self.made.get(field.related_model)  # type: ignore[arg-type]
        if field.related_model is Patient or (known and not field.null):
            return {field.name: known[0] if known else self.patient}
        return {}


LEFT_EMPTY = ("taken_back", "over")
"""Filled, they would take a row out of what stands: then no query could lose its patient and find it."""
BY_TYPE: tuple[tuple[type[models.Field[Any, Any]], Any], ...] = (
    (models.DateTimeField, A_NIGHT),
    (models.DateField, A_NIGHT.date()),
    (models.CharField, WORD),
    (models.TextField, WORD),
    (models.FloatField, NUMBER),
    (models.BigIntegerField, NUMBER),
    (models.IntegerField, NUMBER),
    (models.BinaryField, WORD.encode()),
    (models.JSONField, {"place": WORD}),
)
PRESCRIBED: Row = {
    "days_per_week": 1, "weekdays": [6], "minutes": 30, "max_minutes": 30, "qb_ml_min": 50, "qd_ml_min": 50,
    "dialysate_k_mmol_l": 5, "dialysate_ca_mmol_l": 3, "dialysate_buffer_mmol_l": 60, "dialysate_na_mmol_l": 170,
    "dialysate_temperature_c": 40, "target_weight_kg": 299, "uf_rate_limit_ml_kg_h": 1, "bolus_units": 20000,
    "needle_gauge": 13, "reading_interval_minutes": 480,
}  # fmt: skip
PARTS_OF_A_RECORD = ("reading", "event", "medicine", "answered check", "site used", "step done")


def _edges(limits: Mapping[str, plausible.Range]) -> Row:
    """Each number at the upper edge of what is possible."""
    return {name: each.hard[1] for name, each in limits.items()}


def _night(start: datetime, site: int, item: int) -> Row:
    """A treatment in which everything went wrong that can."""
    at = (start + timedelta(minutes=9)).isoformat()
    reading = {"at": at, **_edges(fields.READING), "diastolic": 150}
    return {
        **_edges(fields.TREATMENT), "pre_weight_kg": 300, "post_weight_kg": 200, "post_systolic": 60,
        "pre_diastolic": 150, "post_diastolic": 30, "pre_standing_diastolic": 150, "post_standing_diastolic": 150,
        "minutes": 70, "readings": [reading], "notes": WORD,
        "events": [{"at": at, "kind": kind, "note": WORD} for kind in ("cramp", "clotting", "blood_leak")],
        "medicines": [{"at": at, "name": WORD, "amount": 100000, "unit": "units"}],
        "checks": [{"name": "Total chlorine", "key": "chlorine", "passed": False, "value": 9, "note": WORD}],
        "sites": [{"site": site, "use": "arterial", **_edges(fields.SITE), "note": WORD}],
        "steps": [{"at": at, "key": "", "words": WORD}], "used_stock": [{"item": item, "count": 9}],
    }  # fmt: skip


def _at_each_moment(field: str, **given: Any) -> list[Row]:
    return [{field: at, **given} for at in MOMENTS]


def _alerts(crowd: Crowd) -> list[Row]:
    """Every rule's, open; and each once more, closed as known."""
    seen = Evidence("number.uf_rate", A_NIGHT, A_NIGHT.date(), NUMBER, 1, str(crowd.made[TreatmentRecord][0].pk))
    plain: Row = {"urgency": Urgency.CALL_TODAY, "evidence": [seen.as_json()], "opened_at": LONG_AGO}
    closed: Row = {"state": AlertState.CLOSED, "closed_at": A_NIGHT, "closed_by": crowd.staff, "outcome": Outcome.KNOWN}
    still: Row = {"state": AlertState.OPEN, "outcome": "", "looked_at": A_NIGHT}  # so nobody has to be told of it
    return [{"rule": rule.key, "cause": rule.key, **plain, **more} for rule in RULES for more in (closed, still)]


ROWS: dict[type[models.Model], Callable[[Crowd], list[Row]]] = {
    Alert: _alerts,
    AlertStep: lambda crowd: [{"kind": StepKind.NOTE, "alert": each} for each in crowd.made[Alert]],
    AlertMessage: lambda crowd: [{"alert": crowd.made[Alert][0], "to": crowd.staff, "sent_at": A_NIGHT}],
    Limit: lambda crowd: [{"name": name, "value": kind.least, "since": LONG_AGO} for name, kind in KINDS.items()],
    Mute: lambda crowd: [{"rule": rule.key, "since": LONG_AGO, "until": FAR_AHEAD} for rule in RULES],
    Call: lambda crowd: [{"result": CallResult.NO_ANSWER, "next_call_at": A_NIGHT + DAY}],
    ReplayChunk: lambda crowd: [{"replay": crowd.row(Replay, state="done"), "done_at": A_NIGHT}],
    PendingEvaluation: lambda crowd: [{"due_at": FAR_AHEAD}],
    RecordNumbers: lambda crowd: [],  # computed, once everything else is there
    PatientMonth: lambda crowd: [],
    MonthlyReview: lambda crowd: [
        {"month": date(2026, month, 1), "signed_by": crowd.staff, "signed_at": A_NIGHT, "frozen": {}}
        for month in (3, 2, 1)
    ],
    BloodResult: lambda crowd: [
        {
            "analyte": analyte,
            "value": limits.hard[1],
            "timing": timing,
            "post_method": "",
            "post_minutes": None,
            "bound": "",
            "drawn_at": at,
        }
        for analyte, limits in plausible.BLOOD.items()
        for at in MOMENTS
        for timing in ("pre", "post")
    ],
    UrineCollection: lambda crowd: [
        {"began_at": at - 2 * DAY, "ended_at": at, "volume_ml": 20000, "urea_mmol_l": 1000, "creatinine_mmol_l": 60}
        for at in MOMENTS
    ],
    LabLine: lambda crowd: [
        {"message": crowd.row(LabMessage, laboratory=_laboratory(crowd)), "verdict": "asks", "analyte": "2823-3"}
    ],
    WaterTest: lambda crowd: [
        {"kind": kind, "unit": WATER_UNITS[kind], "value": plausible.WATER[kind].hard[1], "sampled_at": at}
        for kind in WaterKind
        for at in MOMENTS
    ],
    TaskDone: lambda crowd: _at_each_moment("done_at"),
    HospitalStay: lambda crowd: [{"admitted_on": date(2026, 1, 1), "discharged_on": None}],
    AccessInfection: lambda crowd: [{"began_on": day} for day in (A_NIGHT.date(), date(2026, 2, 2))],
    Machine: lambda crowd: [
        {"kind": kind, "serial": f"{WORD} {kind}", "since": since, "until": until, "ultrapure": True}
        for kind in ("dialysis", "water")
        for since, until in ((A_NIGHT.date(), None), (date(2024, 1, 1), date(2026, 1, 1)))
    ],
    Interval: lambda crowd: [
        {"kind": kind, "every_days": 1, "every_treatments": None} for kind in ("disinfection", "bacteria", "service")
    ],
    BloodsDue: lambda crowd: [{"name": "Monthly", "analytes": list(plausible.BLOOD), "every_weeks": 1}],
    SupplyDelivery: lambda crowd: [
        {"item": crowd.item, "arrived_at": A_NIGHT, "arrived": NUMBER, "entered_at": at} for at in MOMENTS
    ],
    SupplyCount: lambda crowd: _at_each_moment("counted_at", item=crowd.item),
    PrescriptionAcknowledgement: lambda crowd: [
        {"prescription": each, "at": at} for each, at in zip(crowd.made[Prescription], (A_NIGHT, LONG_AGO), strict=True)
    ],
    Training: lambda crowd: [{"done_on": at.date(), "valid_until": at.date() + DAY} for at in MOMENTS],
    Message: lambda crowd: _at_each_moment("sent_at"),
    UnitText: lambda crowd: [{"kind": TextKind.RUN_SHEET, "technique": "buttonhole", "version": 0, "content": None}],
}
"""What cannot be filled blindly, or wants more rows than one."""


def _laboratory(crowd: Crowd) -> models.Model:
    from sessions.models import Laboratory

    return crowd.row(Laboratory)


_kept: list[str] = []
"""The rows as SQL, once they have been made in this run."""
_theirs: dict[type[models.Model], list[Any]] = {}
"""The keys of all rows in it."""


def ours(model: type[models.Model]) -> Any:
    """All rows but the crowd's: what a test itself brought about."""
    return model._default_manager.exclude(pk__in=_theirs.get(model, ()))


def _as_sql() -> Iterator[str]:
    """One INSERT for each table with all rows that stand in it, written by the database itself."""
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        for model in own_models():
            table = quote(model._meta.db_table)
            cursor.execute(f"SELECT quote_literal(json_agg(t)::text) FROM {table} t")  # noqa: S608
            rows = cursor.fetchone()[0]
            if rows:
                yield f"INSERT INTO {table} SELECT * FROM json_populate_recordset(NULL::{table}, {rows}::json)"  # noqa: S608


def lay_out() -> None:
    """Put the crowd's rows into the database as it stands. They are made the first time, and copied afterwards."""
    if not _kept:
        with transaction.atomic():
            assert not Patient.objects.exists(), "the crowd is made in an empty world"
            Crowd().build()
            _kept.append(";\n".join(_as_sql()))
            _theirs.update({model: list(model._default_manager.values_list("pk", flat=True)) for model in own_models()})
            transaction.set_rollback(True)
    with connection.cursor() as cursor:
        cursor.execute(_kept[0])
    connection.check_constraints()  # once, and not again after every test


class CrowdedTransaction:
    """A transaction around many tests in which the crowd is there; each test's own is a savepoint in it."""

    def __init__(self) -> None:
        self.outer: transaction.Atomic | None = None

    def enter(self) -> None:
        if self.outer is not None and connection.in_atomic_block:
            return
        self.leave()
        self.outer = transaction.atomic()
        self.outer.__enter__()
        try:
            lay_out()
        except BaseException:
            self.leave()  # so that the next test does not go on without her
            raise

    def leave(self) -> None:
        if self.outer is not None and connection.in_atomic_block:
            transaction.set_rollback(True)
            self.outer.__exit__(None, None, None)
        self.outer = None
