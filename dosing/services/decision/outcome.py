"""What some weeks of a patient were: dose, fluid, weight, pressure, treatments kept, phosphate; as plain numbers."""

from __future__ import annotations

from datetime import datetime
from statistics import fmean
from typing import Any

from django.db.models import Avg
from django.utils.timezone import localtime

from dosing.science.course import DeliveredCourse
from dosing.science.reasons import Reason
from dosing.services.course.reading import course_at
from dosing.services.course.urea_fit import urea_fit
from dosing.services.month.in_treatment import InTreatment
from dosing.services.planner.fluid_history import gains_of, nights_before
from sessions.facts.choices import Analyte, SampleTiming
from sessions.models import BloodResult, Patient, TreatmentRecord
from sessions.models.local_time import zone_of

Numbers = dict[str, Any]
"""By name, None where not known: dose, dose_low, dose_high [1/wk], with the kidney; done, prescribed: treatments; over:
share of treatments that needed more than the ordered UF rate; ran_over: that ran above it; fluid_l: mean taken off [L];
weight, target [kg]; pre_systolic [mmHg]; phosphate [mmol/L], the newest before a treatment, and its day.
"""


def weeks_of(patient: Patient, since: datetime, until: datetime) -> Numbers:
    """Of [since, until): the fit to the half year before its end, and some ten queries."""
    course = course_at(patient, until)
    return {
        **_dose(course, since, until),
        **_kept(course, since, until, patient),
        **_fluid(course, since, until),
        **_pressure(patient, since, until),
        **_phosphate(patient, since, until),
    }


def _dose(course: DeliveredCourse, since: datetime, until: datetime) -> Numbers:
    none: Numbers = {"dose": None, "dose_low": None, "dose_high": None}
    if not course.orders:
        return none
    dose = urea_fit(course, [(since, until)]).doses[0]
    if isinstance(dose, Reason):
        return none
    low, high = dose.whole_interval.low, dose.whole_interval.high
    return {"dose": round(dose.whole, 3), "dose_low": round(low, 3), "dose_high": round(high, 3)}


def _kept(course: DeliveredCourse, since: datetime, until: datetime, patient: Patient) -> Numbers:
    span = InTreatment(course, since, until, zone_of(patient))
    weights = [each.post_weight_kg for each in span.done if each.post_weight_kg is not None]
    order = course.order_at(until) or (course.orders[-1] if course.orders else None)
    return {
        "done": len(span.done),
        "prescribed": round(span.prescribed, 1),
        "weight": round(fmean(weights), 2) if weights else None,
        "target": order.target_weight_kg if order else None,
    }


def _fluid(course: DeliveredCourse, since: datetime, until: datetime) -> Numbers:
    gains = gains_of(course)
    came = [each for each in gains if since <= each.of.start < until and each.of.counted]
    order = course.order_at(came[-1].of.start) if came else None
    if order is None or order.uf_rate_limit is None:
        return {"over": None, "ran_over": None, "fluid_l": None}
    limit, given = order.uf_rate_limit, nights_before(gains, until, order.target_weight_kg).usual_given
    rates = [rate for each in came if (rate := each.rate_taken) is not None]
    litres = [taken for each in came if (taken := each.of.fluid.taken_off) is not None]
    return {
        "over": round(fmean(each.rate_needed(given, order) > limit for each in came), 3),
        "ran_over": round(fmean(rate > limit for rate in rates), 3) if rates else None,
        "fluid_l": round(fmean(litres), 2) if litres else None,
    }


def _pressure(patient: Patient, since: datetime, until: datetime) -> Numbers:
    records = TreatmentRecord.objects.filter(patient=patient).between(since, until)
    mean = records.aggregate(mean=Avg("pre_systolic"))["mean"]
    return {"pre_systolic": None if mean is None else round(mean, 1)}


def _phosphate(patient: Patient, since: datetime, until: datetime) -> Numbers:
    drawn = BloodResult.objects.filter(patient=patient, analyte=Analyte.PHOSPHATE, drawn_at__range=(since, until))
    found = drawn.exclude(timing=SampleTiming.POST).order_by("-drawn_at").first()
    if found is None:
        return {"phosphate": None, "phosphate_on": None}
    return {"phosphate": found.value, "phosphate_on": localtime(found.drawn_at).date().isoformat()}
