"""What the fit behind the modelled numbers of a month or a night was made from, treatment by treatment, pair by pair.

With these rows and the spreads of what is known beforehand any integrator of the two pools comes to the same V, G and
dose. They are read when somebody looks: kept with each number they would be half a year of rows a month.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from dosing.models import PatientMonth
from dosing.science.course import DeliveredCourse
from dosing.science.course_urea import CourseUrea, course_urea
from dosing.services.course.reading import PatientCourses, course_at
from dosing.services.month.facts import MonthSpan
from dosing.services.night.inputs import fitted_course_of
from dosing.services.numbers.quantity import Quantity
from dosing.services.numbers.working import WorkedLine, WorkedRows
from sessions.facts.choices import Analyte
from sessions.facts.local_day import plain_moment
from sessions.models import TreatmentRecord
from sessions.models.local_time import zone_of

FITTED = ("modelled_week", "modelled_week_kidney", "npcr", "fitted_week", "fitted_week_kidney")
"""Keys of the numbers that rest on the fit."""
BEGUN = Quantity("", _("Begun"))
TREATMENT = (
    Quantity("t_h", _("length"), "h"),
    Quantity("K", _("blood-water clearance as noted, ultrafiltration included"), "mL/min"),
    Quantity("F_1", _("fluid beyond the target weight at the start"), "L"),
    Quantity("F_2", _("at the end"), "L"),
    Quantity("K_ru", _("kidney clearance of plasma water"), "mL/min"),
    Quantity("", _("Counts as a treatment")),
)
PAIR = (
    Quantity("C_pre", _("urea before, of plasma"), "mmol/L", Analyte.UREA.value),
    Quantity("C_post", _("urea after, of plasma"), "mmol/L", Analyte.UREA.value),
    Quantity("t_d", _("from the end to the sample"), "min"),
)
BEFOREHAND = {
    "volume": Quantity("V_0", _("V expected beforehand"), "L"),
    "volume_spread": Quantity("SD_lnV", _("spread of its logarithm")),
    "generation": Quantity("G_0", _("G expected beforehand"), "mmol/min"),
    "generation_spread": Quantity("SD_lnG", _("spread of its logarithm")),
    "clearance_spread": Quantity("SD_lnk", _("spread of the logarithm of the clearance delivered, of that noted")),
    "kidney_spread": Quantity("SD_lnKru", _("spread of the logarithm of the kidney's clearance")),
    "exchange_spread": Quantity("SD_lnKc", _("spread of the logarithm of the transfer between the pools")),
}
"""By the names of `UreaPrior`."""


@dataclass(frozen=True, slots=True)
class FitRows:
    """treatments and pairs as they went into the fit; beforehand: what was known before any blood."""

    treatments: WorkedRows
    pairs: WorkedRows
    beforehand: list[WorkedLine]


def fit_rows(row: PatientMonth, key: str) -> FitRows | None:
    """Of one number of a month; None where it rests on no fit, or there is nothing to fit."""
    if key not in FITTED:
        return None
    until = MonthSpan(row.month, zone_of(row.patient), row.computed_at).until
    return _of_course(course_at(row.patient, until), zone_of(row.patient))


def fit_rows_of_night(record: TreatmentRecord, key: str) -> FitRows | None:
    """Of one number of a night, as `fit_rows`."""
    if key not in FITTED:
        return None
    return _of_course(fitted_course_of(record, PatientCourses(record.patient)), zone_of(record.patient))


def _of_course(course: DeliveredCourse, zone: ZoneInfo) -> FitRows | None:
    made = course_urea(course)
    with timezone.override(zone):
        return _rows(course, made) if isinstance(made, CourseUrea) else None


def _rows(course: DeliveredCourse, made: CourseUrea) -> FitRows:
    given, pairs = made.treatments, made.pairs
    columns = (given.hours, given.clearance, given.fluid_before, given.fluid_after, given.kidney_clearance)
    counts = [gettext("yes") if each else gettext("no") for each in np.asarray(given.counts).tolist()]
    starts = _moments(course, given.starts)
    drawn = [plain_moment(each.pre_at) for each in made.drawn]
    beforehand = [WorkedLine(what, float(np.asarray(getattr(made.prior, name)))) for name, what in BEFOREHAND.items()]
    return FitRows(
        treatments=WorkedRows([BEGUN, *TREATMENT], [starts, *map(_floats, columns), counts]),
        pairs=WorkedRows([BEGUN, *PAIR], [drawn, *map(_floats, (pairs.pre, pairs.post, pairs.post_delay))]),
        beforehand=beforehand,
    )


def _moments(course: DeliveredCourse, hours: Any) -> list[str]:
    return [plain_moment(_at(course, each)) for each in _floats(hours)]


def _at(course: DeliveredCourse, hours: float) -> datetime:
    return course.origin + timedelta(hours=hours)


def _floats(values: Any) -> list[float]:
    return [float(each) for each in np.asarray(values, dtype=np.float64)]
