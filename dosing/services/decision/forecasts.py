"""A forecast for each signed change, kept as it is signed, and held against what came four and eight weeks later."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from datetime import datetime, time, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Max, Q

from dosing.models import ChangeForecast, PatientMonth
from dosing.science import SCIENCE_VERSION
from dosing.services.decision.outcome import weeks_of
from dosing.services.planner.candidates import Candidate
from dosing.services.planner.expecting import DOSE_WANTED, Wanted, expect, known_patient
from dosing.services.planner.patterns import pattern_of
from sessions.models import Prescription
from sessions.models.local_time import zone_of

logger = logging.getLogger(__name__)
FOUR_WEEKS = timedelta(weeks=4)
READ_AFTER = {"4": FOUR_WEEKS, "8": 2 * FOUR_WEEKS}
"""The end of the four weeks that are read, after a change begins to hold."""
LEAST = timedelta(weeks=2)
"""What holds for less, because the next change came, is not held against anything (common practice, no source)."""
READ_AGAIN_FOR = timedelta(weeks=20)
"""For so long after a change late records and bloods still move what came of it."""
CHUNK = 5
NOT_MODELLED, FAILED = "not_modelled", "failed"
"""Why nothing was foretold, as it is kept."""


def keep_forecast(prescription: Prescription, *, at: datetime) -> ChangeForecast | None:
    """Of a prescription that is being signed; None for the first, which changes nothing, and where one is kept.

    Whatever goes wrong here is told to the log and in the row: a signature never fails because a forecast does.
    """
    known = ChangeForecast.objects.filter(prescription=prescription).exists()
    if known or not Prescription.objects.filter(patient=prescription.patient_id, version__lt=prescription.version):
        return None
    try:
        with transaction.atomic():
            expected, before = _expected(prescription, at), weeks_of(prescription.patient, at - FOUR_WEEKS, at)
    except Exception:
        logger.exception("No forecast of a change could be made", extra={"prescription": prescription.pk})
        expected, before = {"why": FAILED}, {}
    return ChangeForecast.objects.create(
        prescription=prescription, made_at=at, science_version=SCIENCE_VERSION, expected=expected, before=before
    )


def _expected(order: Prescription, at: datetime) -> dict[str, Any]:
    try:
        pattern = pattern_of(order.days_per_week, order.weekdays)
    except ValueError:
        return {"why": NOT_MODELLED}
    weight = order.target_weight_kg
    known = known_patient(order, at, weight_kg=weight)
    candidate = Candidate(pattern, order.minutes, order.qb_ml_min, order.qd_ml_min, order.dialyser)
    found = expect(candidate, known.model, known.nights, Wanted(DOSE_WANTED, order.uf_rate_limit_ml_kg_h, weight))
    return found.as_json() | {"fluid_mean_l": round(found.fluid.usual_l, 2)}


def read_some(*, at: datetime, most: int = CHUNK) -> int:
    """Hold forecasts against what came, up to `most`; returns how many were read."""
    read = 0
    for forecast in _due(at):
        _read(forecast, at)
        read += 1
        if read == most:
            break
    return read


def _due(at: datetime) -> Iterator[ChangeForecast]:
    """Those of which weeks are over that were not read, or that were read before months were computed anew."""
    begun = Q(prescription__in_force__startswith__lte=at - FOUR_WEEKS)
    rows = list(ChangeForecast.objects.filter(begun).select_related("prescription__patient"))
    newest = PatientMonth.objects.filter(patient__in={row.prescription.patient_id for row in rows}, stale=False)
    computed = dict(newest.order_by().values_list("patient").annotate(at=Max("computed_at")))
    for row in rows:
        begins = row.prescription.in_force.lower
        missing = any(key not in row.came for key, after in READ_AFTER.items() if begins + after <= at)
        moved = row.came_at is None or computed.get(row.prescription.patient_id, row.came_at) > row.came_at
        if missing or (moved and at - begins < READ_AGAIN_FOR):
            yield row


def _read(forecast: ChangeForecast, at: datetime) -> None:
    order = forecast.prescription
    begins, ends = order.in_force.lower, order.in_force.upper or at
    zone = zone_of(order.patient)
    first = datetime.combine(
        begins.astimezone(zone).date(), time(), zone
    )  # whole days: a half one has no due treatment
    for key, after in READ_AFTER.items():
        if begins + after <= at:
            since, until = first + after - FOUR_WEEKS, min(first + after, ends)
            forecast.came[key] = weeks_of(order.patient, since, until) if until - since >= LEAST else {}
    forecast.came_at = at
    forecast.save(update_fields=["came", "came_at"])


def of_patient(patient_id: Any) -> list[ChangeForecast]:
    """Of one patient, the newest first."""
    return with_orders(ChangeForecast.objects.filter(prescription__patient=patient_id))


def with_orders(rows: Any) -> list[ChangeForecast]:
    """Read with their prescriptions, whose newest comes first."""
    read = rows.select_related("prescription__patient", "prescription__dialyser", "prescription__signed_by")
    return sorted(read, key=lambda each: each.prescription.in_force.lower, reverse=True)
