"""What a patient's month consists of: read once, then plain."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

from dosing.science.course import Counts, DeliveredCourse, KidneyLeft
from dosing.science.guidance import GuidedSchedule, schedule_of
from dosing.science.reasons import Reason
from dosing.science.results import Measure, unknown
from dosing.services.course.reading import course_at
from dosing.services.course.urea_fit import UreaFit, urea_fit
from dosing.services.month.in_treatment import InTreatment
from dosing.services.night.inputs import age_on
from dosing.services.night.treatments import ComputedNight, nights_of
from dosing.services.numbers import kidney
from dosing.services.numbers.number import Inputs
from dosing.services.results.water import Standard, mark_of, standard_in_use
from sessions.facts.choices import RecordState, SampleTiming
from sessions.facts.months import next_month
from sessions.models import BloodResult, Patient, Prescription, WaterTest
from sessions.models.local_time import zone_of

WATER_COUNTS_FOR = timedelta(days=92)
STALE_BLOODS = timedelta(days=183)
"""How far back an older result is still shown, with its age."""


@dataclass(frozen=True, slots=True)
class MonthSpan:
    """A calendar month where the patient lives. until: its end, or now where it is still running."""

    month: date
    zone: ZoneInfo
    now: datetime

    @property
    def since(self) -> datetime:
        return datetime(self.month.year, self.month.month, 1, tzinfo=self.zone)

    @property
    def end(self) -> datetime:
        after = next_month(self.month)
        return datetime(after.year, after.month, 1, tzinfo=self.zone)

    @property
    def until(self) -> datetime:
        return min(self.end, self.now)

    @property
    def days(self) -> float:
        return max(0.0, (self.until - self.since).total_seconds() / 86400)


@dataclass(frozen=True)
class MonthFacts:
    """One patient's month. Nights and bloods are in order of time."""

    patient: Patient
    span: MonthSpan
    course: DeliveredCourse
    nights: list[ComputedNight]
    prescriptions: list[Prescription]
    bloods: list[BloodResult]
    water: list[WaterTest]
    standard: Standard
    model_of: Callable[[], UreaFit | None]
    bounds: Sequence[BloodResult] = ()
    """Results of which only is known that they lie beyond a figure."""

    @property
    def prescription(self) -> Prescription | None:
        """What was in force at the end of the month."""
        return self.prescriptions[-1] if self.prescriptions else None

    @cached_property
    def in_treatment(self) -> InTreatment:
        return InTreatment(self.course, self.span.since, self.span.until, self.span.zone)

    @cached_property
    def finished(self) -> list[ComputedNight]:
        """What was handed over, without a second record of the same treatment."""
        twice = {each.key for each in self.course.treatments if each.counts == Counts.TWICE}
        handed_over = (night for night in self.nights if night.record.state == RecordState.FINISHED)
        return [night for night in handed_over if str(night.record.pk) not in twice]

    @cached_property
    def model(self) -> UreaFit | None:
        return self.model_of()

    @property
    def body(self) -> Inputs:
        """What the equations of body water and surface are asked, at the target weight; {} without a prescription."""
        if self.prescription is None:
            return {}
        return {
            "sex": self.patient.sex,
            "age_years": age_on(self.patient.birth_date, self.span.month),
            "height_cm": self.patient.height_cm,
            "weight_kg": self.prescription.target_weight_kg,
        }

    @cached_property
    def kidney(self) -> KidneyLeft | None:
        """The newest collection that still counts, and what is left of it at the end of the month."""
        return self.course.kidney_at(self.span.until)

    @property
    def kidney_per_surface(self) -> Measure:
        """Residual urea clearance as measured [mL/min/1.73 m2], by which guidance asks whether a kidney counts."""
        if self.kidney and self.prescription is None:
            return unknown(kidney.PER_SURFACE, Reason("no_prescription"))
        measured = self.kidney.collection.clearance if self.kidney else None
        weight = self.prescription.target_weight_kg if self.prescription else None
        return kidney.per_surface(clearance_ml_min=measured, height_cm=self.patient.height_cm, weight_kg=weight)

    @property
    def schedule(self) -> GuidedSchedule | None:
        """By which rows of guidance the month is judged."""
        per_week = self.prescription.days_per_week if self.prescription else None
        return schedule_of(per_week, self.kidney_per_surface.number)

    def values(self, key: str) -> list[float]:
        """A number of each finished night, the unknown ones left out."""
        return [value for night in self.finished if (value := night.value(key)) is not None]

    def known(self, value: Callable[[ComputedNight], float | None]) -> tuple[list[str], list[float]]:
        """A value of each finished night that has it: the nights (ISO), and the values."""
        found = [(night.record.night.isoformat(), one) for night in self.finished if (one := value(night)) is not None]
        return [night for night, _one in found], [one for _night, one in found]

    def newest(self, analyte: str) -> BloodResult | None:
        """The newest result not drawn after a treatment, up to the end of the month."""
        own = (each for each in reversed(self.bloods) if each.analyte == analyte)
        return next((each for each in own if each.timing != SampleTiming.POST), None)

    def newest_bound(self, analyte: str) -> BloodResult | None:
        """The newest that is only a bound, where no value is as new as that."""
        own = [each for each in self.bounds if each.analyte == analyte and each.timing != SampleTiming.POST]
        value = self.newest(analyte)
        return own[-1] if own and (value is None or value.drawn_at < own[-1].drawn_at) else None

    def worst_water(self) -> tuple[int | None, WaterTest | None]:
        """The worst grade among the newest test of each kind and place, with that test."""
        newest: dict[tuple[str, str], WaterTest] = {}
        for test in self.water:
            newest[(test.kind, test.place)] = test
        graded = [
            (mark.grade, test) for test in newest.values() if (mark := mark_of(test, self.standard)).grade is not None
        ]
        return max(graded, key=lambda pair: pair[0]) if graded else (None, None)


def facts_of_month(patient: Patient, month: date, now: datetime) -> MonthFacts:
    """Read what a month needs: some twenty queries whatever its size."""
    zone = zone_of(patient)
    span = MonthSpan(month, zone, now)
    prescriptions = Prescription.objects.filter(patient=patient, in_force__overlap=(span.since, span.until))
    orders = list(prescriptions.select_related("dialyser").order_by("in_force"))
    drawn = BloodResult.with_bounds.filter(patient=patient, drawn_at__range=(span.since - STALE_BLOODS, span.until))
    bloods = list(drawn.order_by("drawn_at", "pk"))
    water = WaterTest.objects.standing().filter(
        patient=patient, sampled_at__range=(span.until - WATER_COUNTS_FOR, span.until)
    )
    # One read for what was done in the month and for the model, which asks for half a year.
    course = course_at(patient, span.until)
    periods = [(span.since, span.until)]
    return MonthFacts(
        patient=patient,
        span=span,
        course=course,
        nights=nights_of(patient.pk, since=span.since, until=span.until),
        prescriptions=orders,
        bloods=[each for each in bloods if not each.bound],
        water=list(water.order_by("sampled_at")),
        standard=standard_in_use(),
        model_of=lambda: urea_fit(course, periods) if orders else None,
        bounds=[each for each in bloods if each.bound],
    )
