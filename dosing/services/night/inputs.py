"""From a record and what stands around it to the plain numbers that the science takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Protocol, TypeVar

from dosing.science.access import near_treatment_flow
from dosing.science.body import total_body_water_watson
from dosing.science.course import DeliveredCourse, Treatment, UreaPair
from dosing.science.gate import LATELY, Frequency, Gap, frequency_at, gap_before
from dosing.science.results import Measure
from dosing.services.course.reading import course_of
from dosing.services.results.urine import Collection, collections_of, counting
from sessions.facts.choices import Analyte
from sessions.models import Event, Patient, Prescription, Reading, TreatmentRecord

WINDOW = timedelta(days=49)
"""How long before a record its course is read: four weeks of treatments, and three before them to begin with."""
TWINS = timedelta(hours=12)
"""How long after its start another record of the same treatment may begin."""


@dataclass(frozen=True)
class NightFacts:
    """One record with its surroundings, and the patient's course up to it, in which it is one treatment.

    Lists are in order of time; None means not known.
    """

    record: TreatmentRecord
    patient: Patient
    prescription: Prescription | None
    readings: list[Reading]
    events: list[Event]
    course: DeliveredCourse
    longest_bleeding: float | None
    kidney: Collection | None = None
    """the newest urine collection that counted then"""

    @cached_property
    def treatment(self) -> Treatment:
        found = self.course.treatment(str(self.record.pk))
        assert found is not None, "a record is a treatment of its own course"
        return found

    @cached_property
    def pair(self) -> UreaPair | None:
        return self.course.pair_of(self.treatment.key)

    @cached_property
    def gap(self) -> Gap:
        return gap_before(self.course, self.treatment)

    @cached_property
    def frequency(self) -> Frequency:
        return frequency_at(self.course, self.treatment)

    @property
    def age_years(self) -> float:
        return age_on(self.patient.birth_date, self.record.night)

    @property
    def weighed_before(self) -> Treatment | None:
        """The treatment since which weight was gained: the last one of all, broken off or not."""
        return self.course.last_ended(self.treatment)


def age_on(birth: date, day: date) -> float:
    return (day - birth).days / 365.25


def body_water(person: Patient, *, weight_kg: float, on: date) -> Measure:
    """V by Watson [L] of a person at a weight on a day; see the equation for its range."""
    return total_body_water_watson(
        weight_kg=weight_kg, height_cm=person.height_cm, age_years=age_on(person.birth_date, on), sex=person.sex
    )


def gather(record: TreatmentRecord) -> NightFacts:
    """Read what stands around one record: sixteen queries at most, whatever its size."""
    start = record.started_at
    readings = list(record.reading_set.all())
    bled = [row.bleeding_minutes for row in record.siteused_set.all() if row.bleeding_minutes is not None]
    return NightFacts(
        record=record,
        patient=record.patient,
        prescription=record.prescription,
        readings=readings,
        events=list(record.event_set.all()),
        course=course_of(record.patient, start - WINDOW, start + TWINS),
        longest_bleeding=max(bled) if bled else None,
        kidney=counting(collections_of(record.patient), record.started_at),
    )


def records_after(record: TreatmentRecord) -> list[TreatmentRecord]:
    """Records whose numbers hang on this one: the patient's next, and those with urea in the four weeks after it."""
    later = TreatmentRecord.objects.filter(patient=record.patient_id, started_at__gt=record.started_at)
    following = later.order_by("started_at").first()
    lately = later.filter(started_at__lte=record.started_at + timedelta(days=LATELY), bloods__analyte=Analyte.UREA)
    found = {each.pk: each for each in (following, *lately.distinct()) if each}
    return sorted(found.values(), key=lambda each: each.started_at)


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
