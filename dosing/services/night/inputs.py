"""From a record and what stands around it to the plain numbers that the science takes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Protocol, TypeVar

from dosing.science.access import near_treatment_flow
from dosing.science.body import total_body_water_watson
from dosing.science.course import DAY, DeliveredCourse, KidneyLeft, Treatment, UreaPair
from dosing.science.gate import LATELY, Frequency, Gap, frequency_at, gap_before
from dosing.science.results import Measure
from dosing.services.course.reading import COURSE_COUNTS_FOR, PatientCourses
from dosing.services.course.treatments import MINUTE
from dosing.services.course.urea_fit import UreaFit, urea_fit
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
    half_year: Callable[[], DeliveredCourse] | None = None
    """the course that the fit rests on; asked for where there is a dose to be fitted"""

    @cached_property
    def kidney(self) -> KidneyLeft | None:
        """What the newest urine collection that counted then left of the kidneys on that day."""
        return self.course.kidney_at(self.record.started_at)

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

    @cached_property
    def fitted_course(self) -> DeliveredCourse:
        return self.half_year() if self.half_year else self.course

    @cached_property
    def fit(self) -> UreaFit | None:
        """The fit to the half year up to this treatment, with the dose of its last four weeks; None without orders."""
        course, start = self.fitted_course, self.treatment.start
        return urea_fit(course, [(start - LATELY * DAY, start + MINUTE)]) if course.orders else None

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


def fitted_course_of(record: TreatmentRecord, courses: PatientCourses) -> DeliveredCourse:
    """The course that the fit of a record rests on: the half year up to it."""
    return courses.between(record.started_at - COURSE_COUNTS_FOR, record.started_at + TWINS)


def courses_for(records: Sequence[TreatmentRecord]) -> PatientCourses:
    """What `gather` needs of the courses of one patient's records, read at once where there are several."""
    courses = PatientCourses(records[0].patient)
    if len(records) > 1:
        starts = [each.started_at for each in records]
        courses.read(min(starts) - COURSE_COUNTS_FOR, max(starts) + TWINS)
    return courses


def gather(record: TreatmentRecord, courses: PatientCourses | None = None) -> NightFacts:
    """Read what stands around one record: fourteen queries at most, and once more its course where it has bloods.

    courses: of its patient, where they are read for other records too.
    """
    start = record.started_at
    courses = courses or PatientCourses(record.patient)
    readings = list(record.reading_set.all())
    bled = [row.bleeding_minutes for row in record.siteused_set.all() if row.bleeding_minutes is not None]
    return NightFacts(
        record=record,
        patient=record.patient,
        prescription=record.prescription,
        readings=readings,
        events=list(record.event_set.all()),
        course=courses.between(start - WINDOW, start + TWINS),
        longest_bleeding=max(bled) if bled else None,
        half_year=lambda: fitted_course_of(record, courses),
    )


def records_after(record: TreatmentRecord) -> list[TreatmentRecord]:
    """Records whose numbers hang on this one: the patient's next, and those with urea in the half year after it, whose
    fit it goes into.
    """
    later = TreatmentRecord.objects.filter(patient=record.patient_id, started_at__gt=record.started_at)
    following = later.order_by("started_at").first()
    lately = later.filter(started_at__lte=record.started_at + COURSE_COUNTS_FOR, bloods__analyte=Analyte.UREA)
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
