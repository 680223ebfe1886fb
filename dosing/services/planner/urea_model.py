"""What the planner computes with: the fit to a delivered course, the fluid gained a day, and what both rest on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from statistics import median

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dosing.science.body import expected_urea_volume
from dosing.science.course import KIDNEY_COUNTS_FOR, DeliveredCourse, UreaPair
from dosing.services.course.urea_fit import UreaFit, urea_fit
from dosing.services.night.inputs import body_water
from dosing.services.planner.fluid_history import gains_of
from sessions.facts.local_day import plain_day
from sessions.facts.local_number import decimals
from sessions.models import Patient

HABITS = timedelta(days=30)


@dataclass(frozen=True, slots=True, kw_only=True)
class UreaModel(UreaFit):
    """A fit, with the gain of fluid in its person. basis: what it rests on, in words."""

    basis: tuple[str, ...] = ()

    @property
    def gain(self) -> float:
        return self.person.fluid_gain


def urea_model(course: DeliveredCourse) -> UreaModel:
    """The model of a patient at the end of a course that has a prescription: see `urea_fit`."""
    fit, gains = urea_fit(course), _gains(course)
    own = {each.name: getattr(fit, each.name) for each in fields(UreaFit)}
    own["person"] = replace(fit.person, fluid_gain=_gain(gains))
    bloods = _pair_words(fit.drawn) if fit.fitted else _assumed_words()
    return UreaModel(**own, basis=(bloods, _kidney_words(course), _gain_words(gains)))


def _gains(course: DeliveredCourse) -> list[float]:
    """Fluid gained a day off treatment in the last weeks [L/day], end to start."""
    since = course.until - HABITS
    found = (each for each in gains_of(course) if each.of.start >= since and 0.3 <= each.gap_days <= 5)
    return [max(0.0, each.gained_l / each.gap_days) for each in found]


def _gain(gains: Sequence[float]) -> float:
    """Their middle; 1 where nothing is known."""
    return float(median(gains)) if gains else 1.0


def _gain_words(gains: Sequence[float]) -> str:
    words = ngettext(
        "gain of %(gain)s L a day, the middle of %(count)s treatment in the last %(days)s days",
        "gain of %(gain)s L a day, the middle of %(count)s treatments in the last %(days)s days",
        len(gains),
    )
    return words % {"gain": decimals(_gain(gains), 2), "count": len(gains), "days": HABITS.days}


def _kidney_words(course: DeliveredCourse) -> str:
    left = course.kidney_at(course.until)
    if left is None:
        return _("no kidney clearance: no urine collection in the last %(days)s days") % {
            "days": round(KIDNEY_COUNTS_FOR)
        }
    return _("kidney clearance of %(clearance)s mL/min from the urine to %(ended_at)s") % {
        "clearance": decimals(left.clearance, 1),
        "ended_at": plain_day(left.collection.ended.date()),
    }


def _pair_words(drawn: Sequence[UreaPair]) -> str:
    words = ngettext(
        "urea before and after one treatment, the last on %(last)s",
        "urea before and after %(count)s treatments, the last on %(last)s",
        len(drawn),
    )
    return words % {"count": len(drawn), "last": plain_day(drawn[-1].pre_at.date())}


def _assumed_words() -> str:
    return _("volume assumed from height, weight, age and sex; generation assumed as usual for the weight")


def assumed_volume(person: Patient, *, weight_kg: float, on: date) -> float | None:
    """Urea volume to expect of this weight, height, age and sex [L], or None outside the equations' range."""
    return expected_urea_volume(watson_l=body_water(person, weight_kg=weight_kg, on=on).value).number
