"""Keep a schedule of the planner as a draft of the next prescription, with what the model expects of it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from dosing.services.planner.candidates import Candidate
from dosing.services.planner.expecting import Wanted, expect, known_patient
from dosing.services.planner.patterns import pattern_of
from homedialysis.accounts.models import User
from sessions.facts.ordered import NUMBERS
from sessions.models import Prescription, PrescriptionDraft

MOST_WORDS = 2000


def keep_draft(
    *,
    candidate: Candidate,
    prescription: Prescription,
    dose: float,
    words: str,
    by: User,
    at: datetime,
    starts_on: date | None = None,
    besides: Mapping[str, Any] | None = None,
) -> PrescriptionDraft:
    """A draft beside the prescription in force; what the schedule does not name stays as it is.

    dose: the weekly standard Kt/V that was wanted of it; starts_on: the day from which it is meant to hold; besides:
    what was answered of `questions_of`, by field of the prescription.
    """
    weight = prescription.target_weight_kg
    known = known_patient(prescription, at, weight_kg=weight)
    wanted = Wanted(dose, prescription.uf_rate_limit_ml_kg_h, weight)
    begins = {"starts_on": starts_on.isoformat()} if starts_on else {}
    return PrescriptionDraft.objects.create(
        patient=prescription.patient,
        values=values_of(candidate, prescription) | dict(besides or {}) | begins,
        expected=expect(candidate, known.model, known.nights, wanted).as_json(),
        words=words.strip()[:MOST_WORDS],
        made_by=by,
        made_at=at,
    )


def values_of(candidate: Candidate, prescription: Prescription) -> dict[str, Any]:
    """What a draft of a schedule changes, by field of the prescription.

    The longest allowed treatment keeps its headroom over the prescribed one: nights that begin late or stop for an
    alarm are made up in it.
    """
    every_other = candidate.pattern.cycle_days != 7
    spread = not every_other and candidate.pattern == pattern_of(candidate.pattern.per_week)
    fixed = not every_other and (bool(prescription.weekdays) or not spread)  # days chosen by hand are kept
    headroom = prescription.max_minutes - prescription.minutes
    return {
        "days_per_week": candidate.pattern.per_week,
        "weekdays": list(candidate.pattern.days) if fixed else [],
        "minutes": candidate.minutes,
        "max_minutes": min(candidate.minutes + headroom, NUMBERS["max_minutes"].hard[1]),
        "qb_ml_min": candidate.qb_ml_min,
        "qd_ml_min": candidate.qd_ml_min,
        "dialyser": candidate.dialyser.pk,
    }
