"""From a record and what stands around it to the plain numbers that the science takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Protocol, TypeVar

from dosing.science.access import near_treatment_flow
from dosing.science.body import total_body_water_watson
from dosing.science.results import Measure
from dosing.services.results.urine import Collection, collections_of, counting
from sessions.facts.choices import AccessKind, Analyte, PostSampleMethod, SampleTiming
from sessions.models import BloodResult, Patient, Prescription, Reading, TreatmentRecord


@dataclass(frozen=True, slots=True)
class NightFacts:
    """One record with its surroundings. Lists are in order of time; None means not known."""

    record: TreatmentRecord
    patient: Patient
    prescription: Prescription | None
    readings: list[Reading]
    last_record: TreatmentRecord | None
    access_kind: str
    urea_pre: float | None
    urea_post: float | None
    post_sample: str
    longest_bleeding: float | None
    kidney: Collection | None = None
    """the newest urine collection that counted then"""

    @property
    def age_years(self) -> float:
        return age_on(self.patient.birth_date, self.record.night)

    @property
    def days_since_last(self) -> float | None:
        """Days from start to start, as the generation factor counts them."""
        if self.last_record is None:
            return None
        return (self.record.started_at - self.last_record.started_at).total_seconds() / 86400


def age_on(birth: date, day: date) -> float:
    return (day - birth).days / 365.25


def body_water(person: Patient, *, weight_kg: float, on: date) -> Measure:
    """V by Watson [L] of a person at a weight on a day; see the equation for its range."""
    return total_body_water_watson(
        weight_kg=weight_kg, height_cm=person.height_cm, age_years=age_on(person.birth_date, on), sex=person.sex
    )


def gather(record: TreatmentRecord) -> NightFacts:
    """Read what stands around one record: eight queries at most, whatever its size."""
    readings = list(record.reading_set.all())
    pre, post, sample = _urea_of(record)
    access = record.patient.accesses.in_use(record.night).first()
    bled = [row.bleeding_minutes for row in record.siteused_set.all() if row.bleeding_minutes is not None]
    return NightFacts(
        record=record,
        patient=record.patient,
        prescription=record.prescription,
        readings=readings,
        last_record=record_before(record.patient, record.started_at),
        access_kind=access.kind if access else "",
        urea_pre=pre,
        urea_post=post,
        post_sample=sample,
        longest_bleeding=max(bled) if bled else None,
        kidney=counting(collections_of(record.patient), record.started_at),
    )


def record_before(patient: Patient, started_at: datetime) -> TreatmentRecord | None:
    """The patient's treatment before this moment."""
    earlier = TreatmentRecord.objects.filter(patient=patient, started_at__lt=started_at)
    return earlier.order_by("-started_at").first()


def record_after(record: TreatmentRecord) -> TreatmentRecord | None:
    """The patient's next treatment: its gain and its interval hang on this one."""
    later = TreatmentRecord.objects.filter(patient=record.patient_id, started_at__gt=record.started_at)
    return later.order_by("started_at").first()


class WithFlow(Protocol):
    """A row with a blood flow [mL/min]."""

    @property
    def qb_ml_min(self) -> float | None: ...


Row = TypeVar("Row", bound=WithFlow)


def at_treatment_flow(readings: Sequence[Row]) -> list[Row]:
    """The readings taken at the flow of the treatment."""
    if not readings:
        return []
    near = near_treatment_flow(flows_ml_min=[reading.qb_ml_min or 0 for reading in readings])
    return [reading for reading, counts in zip(readings, near.value, strict=True) if counts == 1]


def _urea_of(record: TreatmentRecord) -> tuple[float | None, float | None, str]:
    found: dict[str, BloodResult] = {row.timing: row for row in record.bloods.filter(analyte=Analyte.UREA)}
    pre, post = found.get(SampleTiming.PRE), found.get(SampleTiming.POST)
    sample = post.post_method if post else ""
    return pre.value if pre else None, post.value if post else None, SAMPLE_WORDS.get(sample, "unprotected")


SAMPLE_WORDS: dict[str, str] = {
    PostSampleMethod.SLOW_FLOW: "slow_flow",
    PostSampleMethod.STOP_DIALYSATE: "stop_dialysate",
    PostSampleMethod.NEITHER: "unprotected",
}
"""How the science calls each way of drawing the sample after treatment."""


def has_catheter(facts: NightFacts) -> bool:
    return facts.access_kind == AccessKind.CATHETER
