"""Nights through the real services, evaluated as a worker would."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from alerts.models import Alert, RecordJudgement
from alerts.rules import BY_KEY
from alerts.rules.base import Remark
from alerts.services.evaluation import evaluate_pending
from alerts.showing.alert_words import sentence_of, why_not
from sessions.models import Patient, TreatmentRecord
from sessions.services.recording import record_treatment
from tests.crowd import ours
from tests.factories import A_NIGHT, record_night

DAY = timedelta(days=1)
MORNING = A_NIGHT + timedelta(hours=12)


def reading(start: datetime, minute: int, **columns: float) -> dict[str, Any]:
    """One reading at treatment flow, with nothing unusual but what is given."""
    usual = {"qb_ml_min": 300, "arterial_mmhg": -140, "venous_mmhg": 130, "systolic": 130, "diastolic": 76}
    return {"at": (start + timedelta(minutes=minute)).isoformat()} | usual | columns


def evaluated(
    patient: Patient, *nights: dict[str, Any], first: int = 0, every: timedelta = 2 * DAY
) -> list[TreatmentRecord]:
    """Record nights one after another, each evaluated on its morning. Keys as in `tests.factories.night_body`."""
    records = []
    for index, changes in enumerate(nights, start=first):
        start = A_NIGHT + index * every
        records.append(record_night(patient, start, **changes))
        evaluate_pending(at=start + timedelta(hours=12))
    return records


def again(record: TreatmentRecord, **changes: Any) -> TreatmentRecord:
    """Correct a record and have it evaluated, a day after its morning."""
    at = record.started_at + timedelta(hours=36)
    assert record.patient.account
    corrected = record_treatment(
        record_id=record.pk,
        patient=record.patient,
        document=record.document | changes,
        by=record.patient.account,
        at=at,
        replaces=record.etag,
    ).record
    evaluate_pending(at=at)
    return corrected


def alerts_of(rule: str) -> list[Alert]:
    return list(ours(Alert).filter(rule=rule).order_by("cause", "pk"))


def sentences_of(rule: str) -> list[str]:
    return [sentence_of(alert) for alert in alerts_of(rule)]


def reasons_of(record: TreatmentRecord, rule: str) -> Sequence[str]:
    """Why a rule could not judge a record."""
    judgement = RecordJudgement.objects.get(record=record)
    missed = [Remark.from_json(one) for one in judgement.not_judged if one["rule"] == rule]
    return [why_not(BY_KEY[rule], why) for why in missed]
