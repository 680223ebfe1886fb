"""Whether the unit looks at a night, in a word that a patient may read: no rule, no value, no name."""

from __future__ import annotations

from alerts.models import Alert, PendingEvaluation, RecordJudgement
from alerts.models.choices import StepKind
from dosing.services.night.night_answer import UnitView
from sessions.models import TreatmentRecord

NEWS = frozenset({StepKind.OPENED, StepKind.EVIDENCE, StepKind.CAUSE_BACK})
"""Steps after which an alert wants to be looked at again."""
LOOKED_AT = frozenset({StepKind.SEEN, StepKind.NOTE})


def look_at(record: TreatmentRecord) -> UnitView:
    """Judged or not, on the unit's list or not, looked at since the last news or not: the state as it stands."""
    waits = PendingEvaluation.objects.filter(record=record).exists()
    judged = RecordJudgement.objects.filter(record=record, revision=record.revision).exists()
    if waits or not judged:
        return UnitView.NOT_JUDGED
    alerts = _resting_on(record)
    if not alerts:
        return UnitView.NOTHING
    return UnitView.SEEN if all(was_looked_at(alert) for alert in alerts) else UnitView.ON_THE_LIST


def _resting_on(record: TreatmentRecord) -> list[Alert]:
    """The alerts whose evidence this night is, unless a correction took it away."""
    named = str(record.pk)
    rows = Alert.objects.filter(patient=record.patient_id, evidence__contains=[{"record": named}])
    return [
        alert
        for alert in rows.prefetch_related("steps")
        if any(item.get("record") == named and not item.get("gone") for item in alert.evidence)
    ]


def was_looked_at(alert: Alert) -> bool:
    """Closed, or looked at since the last news. Reads the steps, in their order: prefetch them."""
    if not alert.is_open:
        return True
    kinds = [step.kind for step in alert.steps.all()]
    news = max((index for index, kind in enumerate(kinds) if kind in NEWS), default=-1)
    return any(kind in LOOKED_AT for kind in kinds[news + 1 :])
