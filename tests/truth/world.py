"""The made-up patients brought to the product through its own doors: records by PUT, bloods by POST, the rest by forms.

Only what a unit sets up before anybody is treated (patient, access, prescription) stands there from the beginning.
"""

from __future__ import annotations

import json
import uuid
from datetime import date, datetime, timedelta
from typing import Any

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.test import Client

from alerts.services.evaluation import evaluate_pending, look_for_missing
from dosing.services.month.computing import add_missing, compute_some
from homedialysis.accounts.models import Role, User
from sessions.models import Patient
from tests.conftest import signed_in
from tests.factories import AccessFactory, DialyserFactory, PatientFactory, PrescriptionFactory, UserFactory
from tests.over_http import JSON, put
from tests.truth.people import LABEL_KOA, UNTIL, ZONE, Life, Sent, day_of
from tests.truth.slow import Night, Urea

UREA = "22664-7"
WALL = "%Y-%m-%dT%H:%M"
MINUTE = timedelta(minutes=1)
TOO_HEAVY = 10
URINE_ML = 1200.0
YEAR = 365.25
ROUNDS = 5
"""Of fifty months, and of two hundred patients, each."""


def make(life: Life) -> Patient:
    """The patient as the unit knows them before the first treatment at home."""
    born = UNTIL.date() - timedelta(days=round(life.person.age_years * YEAR))
    person: Patient = PatientFactory(
        name=life.key.capitalize(), sex=life.person.sex, birth_date=born, height_cm=life.person.height_cm,
        joined_on=life.joined,
    )  # fmt: skip
    for access in life.accesses:
        AccessFactory(patient=person, kind=access.kind, created_on=access.made, abandoned_on=access.given_up)
    order = life.order
    since = datetime.combine(max(life.joined, date(2025, 1, 1)), datetime.min.time(), ZONE)
    PrescriptionFactory(
        patient=person, version=1, in_force=DateTimeTZRange(since, None), days_per_week=order.per_week,
        weekdays=list(order.weekdays), minutes=order.minutes, max_minutes=order.minutes + 60, qb_ml_min=order.qb,
        qd_ml_min=order.qd, dialyser=DialyserFactory(koa_ml_min=LABEL_KOA), target_weight_kg=life.person.target_kg,
        uf_rate_limit_ml_kg_h=order.limit,
    )  # fmt: skip
    return person


def record_id(life: Life, night: Night, phone: str = "") -> uuid.UUID:
    return uuid.uuid5(uuid.NAMESPACE_URL, f"{life.key} {night.start.isoformat()} {phone}")


def body(night: Night) -> dict[str, Any]:
    """A record as the phone would send it."""
    quarters = [night.minutes * part / 4 for part in (1, 2, 3)]
    counter = dict(night.uf_read)
    minutes = sorted({*quarters, *counter}) if night.minutes > 30 else sorted(counter)
    readings = [
        {
            "at": (night.start + minute * MINUTE).isoformat(), "qb_ml_min": night.qb, "qd_ml_min": night.qd,
            "arterial_mmhg": -140, "venous_mmhg": 130, "systolic": 130, "diastolic": 76,
            "uf_volume_l": counter.get(minute),
        }
        for minute in minutes
    ]  # fmt: skip
    return {
        "status": "finished", "started_at": night.start.isoformat(),
        "ended_at": (night.start + night.minutes * MINUTE).isoformat(), "pre_weight_kg": night.pre_kg,
        "post_weight_kg": night.post_kg, "uf_removed_l": night.uf_total, "rinse_back_l": night.rinse_l,
        "intake_l": night.drinks_l, "pre_systolic": 140, "pre_diastolic": 80, "post_systolic": 128,
        "post_diastolic": 74, "readings": readings,
    }  # fmt: skip


def _sent(client: Client, key: uuid.UUID, document: dict[str, Any], if_match: str | None = None) -> Any:
    answer = put(client, key, document, if_match)
    assert answer.status_code in (200, 201), answer.content
    return answer


def send(life: Life, client: Client, *, late: bool = False) -> None:
    """Every record but those that come late; or only these."""
    for night in life.known:
        way = life.sent.get(day_of(night))
        if late == (way == Sent.LATE):
            _send_one(life, client, night, way)


def _send_one(life: Life, client: Client, night: Night, way: Sent | None) -> None:
    key, document = record_id(life, night), body(night)
    if way == Sent.CORRECTED:
        wrong = document | {"post_weight_kg": (night.post_kg or 0) + TOO_HEAVY}
        answer = _sent(client, key, wrong)
        _sent(client, key, document, answer.headers["ETag"])
        return
    _sent(client, key, document)
    if way == Sent.TWICE:
        later = night.start + 4 * MINUTE
        _sent(client, record_id(life, night, "other"), document | {"started_at": later.isoformat()})


def draw(life: Life, person: Patient, nurse: Client, course: list[Urea]) -> None:
    """Urea before and after, as the body had it, to the tenth that a laboratory gives."""
    rows = []
    for each in course:
        if day_of(each.night) in life.bloods and each.night.minutes > 30:
            ended = each.night.start + each.night.minutes * MINUTE
            usual = {"patient": str(person.pk), "analyte": UREA}
            pre = {"value": round(each.plasma_before, 1), "drawn_at": each.night.start.isoformat(), "timing": "pre"}
            post = {"value": round(each.plasma_after, 1), "drawn_at": ended.isoformat(), "timing": "post"}
            rows += [usual | pre, usual | post | {"post_method": "slow_flow"}]
    if rows:
        answer = nurse.post("/api/v1/bloods/", json.dumps({"results": rows}), content_type=JSON)
        assert answer.status_code == 201, answer.content


def collect_urine(life: Life, person: Patient, nurse: Client, course: list[Urea]) -> None:
    """All that the kidney put out from the end of a treatment to the start of the next: two decimals of a mmol/L."""
    for index, each in enumerate(course[:-1]):
        if day_of(each.night) in life.urine:
            began = each.night.start + each.night.minutes * MINUTE
            ended = course[index + 1].night.start
            given = {
                "began_at": began.astimezone(ZONE).strftime(WALL), "ended_at": ended.astimezone(ZONE).strftime(WALL),
                "volume_ml": URINE_ML, "urea_mmol_l": f"{urine_urea(course, index):.2f}",
            }  # fmt: skip
            _posted(nurse, f"/patients/{person.pk}/urine/", given)


def urine_urea(course: list[Urea], index: int) -> float:
    """mmol/L in the urine from the end of one treatment to the start of the next."""
    return course[index + 1].excreted_between / (URINE_ML / 1000)


def note_stays(life: Life, person: Patient, nurse: Client) -> None:
    where = f"/patients/{person.pk}/outcomes/"
    for admitted, discharged in life.stays:
        stay = {"stay-admitted_on": admitted.isoformat(), "stay-discharged_on": discharged.isoformat()}
        _posted(nurse, where, {"what": "stay", "stay-kind": "hospital", "stay-words": "Pneumonia."} | stay)
    if life.left:
        leave = {"leave-left_on": life.left.isoformat(), "leave-left_reason": "transplant"}
        _posted(nurse, where, {"what": "leave"} | leave)


def _posted(client: Client, where: str, given: dict[str, Any]) -> None:
    """A form that was kept goes on to another page; one that was not stays and says why."""
    answer = client.post(where, given)
    assert answer.status_code == 302, answer.content.decode()


def compute_all() -> None:
    """What the workers do, until nothing waits."""
    for _ in range(ROUNDS):
        evaluate_pending(at=UNTIL)
    look_for_missing(at=UNTIL)
    add_missing(at=UNTIL)
    for _ in range(ROUNDS):
        compute_some(at=UNTIL)


def staff() -> Client:
    nurse: User = UserFactory(role=Role.NURSE, name="Nurse Kim")
    return signed_in(nurse)
