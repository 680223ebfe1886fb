"""Keep a schedule of the planner as a draft of the next prescription, with what the model expects of it."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from dosing.services.planner.candidates import Candidate, try_out
from dosing.services.planner.patterns import pattern_of
from dosing.services.planner.urea_model import UreaModel, habits_of, urea_model
from homedialysis.accounts.models import User
from sessions.models import Prescription, PrescriptionDraft

MOST_WORDS = 2000


def keep_draft(
    *, candidate: Candidate, prescription: Prescription, words: str, by: User, at: datetime
) -> PrescriptionDraft:
    """A draft beside the prescription in force; what the schedule does not name stays as it is."""
    model = urea_model(habits_of(prescription.patient, prescription, at))
    return PrescriptionDraft.objects.create(
        patient=prescription.patient,
        values=_values(candidate, prescription),
        expected=_expected(candidate, model, prescription),
        words=words.strip()[:MOST_WORDS],
        made_by=by,
        made_at=at,
    )


def _values(candidate: Candidate, prescription: Prescription) -> dict[str, Any]:
    every_other = candidate.pattern.cycle_days != 7
    spread = not every_other and candidate.pattern == pattern_of(candidate.pattern.per_week)
    fixed = not every_other and (bool(prescription.weekdays) or not spread)  # days chosen by hand are kept
    return {
        "days_per_week": candidate.pattern.per_week,
        "weekdays": list(candidate.pattern.days) if fixed else [],
        "minutes": candidate.minutes,
        "max_minutes": max(candidate.minutes, prescription.max_minutes),
        "qb_ml_min": candidate.qb_ml_min,
        "qd_ml_min": candidate.qd_ml_min,
        "dialyser": candidate.dialyser.pk,
    }


def _expected(candidate: Candidate, model: UreaModel, prescription: Prescription) -> dict[str, Any]:
    tried = try_out([candidate], model, weight_kg=prescription.target_weight_kg)
    numbers = {"standard_ktv": tried.dose, "uf_rate": tried.uf_rate, "urea_before": tried.pre}
    return {name: None if value[0] != value[0] else round(float(value[0]), 3) for name, value in numbers.items()}
