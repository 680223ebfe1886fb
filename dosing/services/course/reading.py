"""The delivered course of one patient out of the database: a fixed number of queries for any number of courses."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta

from dosing.science.course import (
    DAY,
    AbsenceKind,
    DeliveredCourse,
    KidneyCollection,
    Order,
    Person,
    SampleWay,
    TimeAway,
    Treatment,
    UreaPair,
)
from dosing.science.due_days import DueBy, days_not_entered
from dosing.services.course.rows import KIDNEY_BEFORE, PatientRows, rows_of
from dosing.services.course.treatments import MINUTE, treatments_of
from dosing.services.results.urine import computed
from sessions.facts.choices import Analyte, PostSampleMethod, SampleTiming
from sessions.models import BloodResult, Patient, Prescription
from sessions.models.local_time import night_of

COURSE_COUNTS_FOR = timedelta(days=183)
"""How far back treatments, bloods and urine are read for a model, and months to hold against what was foretold."""
NOON = time(12)
"""What is in force then holds for the day."""
WAYS = {
    PostSampleMethod.SLOW_FLOW: SampleWay.SLOW_FLOW,
    PostSampleMethod.STOP_DIALYSATE: SampleWay.STOP_DIALYSATE,
    PostSampleMethod.LATE: SampleWay.LATE,
}
"""How the science calls each way of drawing the sample after treatment; whatever else was done is unprotected."""


class PatientCourses:
    """The courses of one patient, out of rows that are read as seldom as can be: who computes many records of a patient
    reads once for all of them, and each course is the same as if it had been read alone.
    """

    def __init__(self, patient: Patient) -> None:
        self.patient = patient
        self._read: ReadPatient | None = None

    def read(self, since: datetime, until: datetime) -> None:
        """Have the rows of [since, until), and of whatever was read before and lies around it."""
        if self._read is None or not self._read.holds(since, until):
            since, until = self._read.joined(since, until) if self._read else (since, until)
            self._read = ReadPatient(rows_of(self.patient, since, until), since, until)

    def between(self, since: datetime, until: datetime) -> DeliveredCourse:
        """The course from since to until, which lies not in the future: what is due later is not missing."""
        self.read(since, until)
        assert self._read is not None
        return self._read.course(since, until)


def course_of(patient: Patient, since: datetime, until: datetime) -> DeliveredCourse:
    """The course of one patient from since to until; see `PatientCourses.between`."""
    return PatientCourses(patient).between(since, until)


def course_at(patient: Patient, at: datetime) -> DeliveredCourse:
    """The course that models and the planner rest on at a moment."""
    return course_of(patient, at - COURSE_COUNTS_FOR, at)


class ReadPatient:
    """The rows of one patient from since to until, with what is worked out of them once for every course."""

    def __init__(self, rows: PatientRows, since: datetime, until: datetime) -> None:
        self.rows, self.since, self.until = rows, since, until
        self.person = Person(birth=rows.patient.birth_date, sex=rows.patient.sex, height_cm=rows.patient.height_cm)
        self.orders = tuple(_order(each) for each in rows.prescriptions)
        self.treatments = treatments_of(rows, self.person, self.orders)
        self.collections = tuple(_collections(rows))

    def holds(self, since: datetime, until: datetime) -> bool:
        return self.since <= since and until <= self.until

    def joined(self, since: datetime, until: datetime) -> tuple[datetime, datetime]:
        return min(self.since, since), max(self.until, until)

    def course(self, since: datetime, until: datetime) -> DeliveredCourse:
        """The course of a part of what was read."""
        rows = self.rows
        orders = tuple(each for each in self.orders if each.since < until and (not each.until or since < each.until))
        treatments = tuple(each for each in self.treatments if since <= each.start < until)
        first, last = since.astimezone(rows.zone).date(), (until - MINUTE).astimezone(rows.zone).date()
        absences = tuple(_absences(rows, first, last))
        return DeliveredCourse(
            person=self.person,
            # By UTC: hours added to a moment on somebody's wall would forget that clocks are changed.
            origin=since.astimezone(UTC),
            since=since,
            until=until,
            first_day=first,
            last_day=last,
            records_since=rows.records_since,
            treatments=treatments,
            missing=missing_days(rows, orders, treatments, absences, (first, last)),
            left_out=_left_out(rows, treatments, (first, last)),
            absences=absences,
            pairs=tuple(_pairs(rows.bloods, {each.key: each for each in treatments})),
            collections=tuple(each for each in self.collections if since - KIDNEY_BEFORE <= each.ended <= until),
            orders=orders,
        )


def _order(row: Prescription) -> Order:
    return Order(
        key=str(row.pk),
        since=row.in_force.lower,
        until=row.in_force.upper,
        per_week=row.days_per_week,
        weekdays=tuple(sorted(row.weekdays)),
        minutes=row.minutes,
        qb_ml_min=row.qb_ml_min,
        qd_ml_min=row.qd_ml_min,
        koa_ml_min=row.dialyser.koa_ml_min,
        target_weight_kg=row.target_weight_kg,
        uf_rate_limit=row.uf_rate_limit_ml_kg_h,
    )


def _absences(rows: PatientRows, first: date, last: date) -> Iterable[TimeAway]:
    """Before joining, in hospital or away, and after leaving, in order of time, as far as they touch the span."""
    person = rows.patient
    if first < person.joined_on:
        yield TimeAway(kind=AbsenceKind.BEFORE, first=None, last=person.joined_on - DAY)
    for stay in rows.stays:
        if stay.admitted_on <= last and (stay.discharged_on is None or first <= stay.discharged_on):
            yield TimeAway(kind=AbsenceKind(stay.kind), first=stay.admitted_on, last=stay.discharged_on)
    if person.left_on and person.left_on <= last:
        yield TimeAway(kind=AbsenceKind.AFTER, first=person.left_on, last=None)


def missing_days(
    rows: PatientRows,
    orders: Sequence[Order],
    treatments: Sequence[Treatment],
    absences: Sequence[TimeAway],
    span: tuple[date, date],
) -> tuple[date, ...]:
    """Days before the last one of the span on which a treatment was due and none is there; the last is not over yet."""

    def ordered_on(day: date) -> DueBy | None:
        noon = datetime.combine(day, NOON, rows.zone)
        return next((each.due_by for each in orders if each.holds(noon)), None)

    left_out = {said.day for said in rows.left_out}
    first_order = min((each.since.astimezone(rows.zone).date() for each in orders), default=None)
    return tuple(
        days_not_entered(
            span=span,
            begins=max(first_order, rows.patient.joined_on) if first_order else None,
            ordered_on=ordered_on,
            treated={night_of(each.start, rows.zone) for each in treatments},
            absent=lambda day: day in left_out or any(each.holds(day) for each in absences),
        )
    )


def _left_out(rows: PatientRows, treatments: Sequence[Treatment], span: tuple[date, date]) -> tuple[date, ...]:
    """Days of which was said that no treatment is done, and none was."""
    first, last = span
    treated = {night_of(each.start, rows.zone) for each in treatments}
    return tuple(sorted({said.day for said in rows.left_out if first <= said.day <= last} - treated))


def _pairs(bloods: Sequence[BloodResult], treatments: dict[str, Treatment]) -> Iterable[UreaPair]:
    """Urea before and after each treatment of the span that has both, in order of the treatments."""
    found: dict[str, dict[str, BloodResult]] = {}
    for each in bloods:
        if each.analyte == Analyte.UREA and each.treatment_id:
            found.setdefault(str(each.treatment_id), {})[each.timing] = each
    for key, treatment in treatments.items():
        both = found.get(key, {})
        pre, post = both.get(SampleTiming.PRE), both.get(SampleTiming.POST)
        if pre and post:
            yield _pair(treatment, pre, post)


def _pair(treatment: Treatment, pre: BloodResult, post: BloodResult) -> UreaPair:
    after = (post.drawn_at - treatment.end) / MINUTE if treatment.end else None
    if post.post_minutes is not None:
        after = post.post_minutes
    return UreaPair(
        treatment=treatment.key,
        pre=pre.value,
        post=post.value,
        pre_at=pre.drawn_at,
        post_at=post.drawn_at,
        way=WAYS.get(PostSampleMethod(post.post_method), SampleWay.UNPROTECTED)
        if post.post_method
        else SampleWay.UNPROTECTED,
        minutes_after=after,
    )


def _collections(rows: PatientRows) -> Iterable[KidneyCollection]:
    for urine in rows.urine:
        clearance = computed(urine, rows.bloods).urea.number
        yield KidneyCollection(
            began=urine.began_at, ended=urine.ended_at, clearance=clearance, urine_ml=urine.volume_ml
        )
