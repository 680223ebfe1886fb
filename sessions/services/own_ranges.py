"""What is usual of one person's numbers, by what is known of the person: see `plausible.own_ranges`."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from sessions.facts import plausible
from sessions.facts.choices import AccessKind
from sessions.facts.ranges import Range
from sessions.models import AccessSite, Patient, Prescription, TreatmentRecord
from sessions.texts.ready import coded


def usual_of(record: TreatmentRecord) -> Mapping[str, Range]:
    """As it was known when this record's treatment began, its prescription being set; a catheter has no needle."""
    own = own_ranges(record.patient, record.prescription, before=record.started_at)
    doses = plausible.doses(record.document, _prescribed(record.prescription))
    return {**own, **doses, **plausible.of_catheter(record.document, _lumens(record))}


def _prescribed(ordered: Prescription | None) -> dict[str, float | None]:
    """What is prescribed against clotting, by the names under which the record keeps it."""
    if ordered is None:
        return {}
    bolus, rate = ordered.bolus_units, ordered.rate_units_h
    return {coded("heparin"): bolus, coded("low_molecular"): bolus, coded("heparin_rate"): rate}


def _lumens(record: TreatmentRecord) -> set[int]:
    """Those sites with a needle noted that belong to a catheter."""
    noted = [row["site"] for row in record.document["sites"] if any(row.get(name) for name in plausible.OF_NEEDLE)]
    of_catheter = AccessSite.objects.filter(pk__in=noted, access__kind=AccessKind.CATHETER)
    return set(of_catheter.values_list("pk", flat=True)) if noted else set()


def own_ranges(patient: Patient, prescription: Prescription | None, *, before: datetime) -> Mapping[str, Range]:
    """By the target weight prescribed and the last weight after a treatment that began before this moment."""
    weighed = TreatmentRecord.objects.filter(patient=patient, started_at__lt=before, post_weight_kg__isnull=False)
    last = weighed.order_by("-started_at").values_list("post_weight_kg", flat=True).first()
    return plausible.own_ranges(target=prescription.target_weight_kg if prescription else None, last=last)
