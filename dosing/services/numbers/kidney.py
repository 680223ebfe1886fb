"""The patient's own kidneys as doses count them: what the newest collection found, aged to the day, of plasma water."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.translation import gettext_noop as _

from dosing.science.body import surface_area_du_bois
from dosing.science.course import KidneyLeft
from dosing.science.kidney import clearance_per_surface, plasma_water_clearance
from dosing.science.reasons import Reason
from dosing.science.results import Measure, measure, unknown
from dosing.services.numbers.number import Inputs
from dosing.services.numbers.quantity import Quantity, WorkingStep

COUNTED = Quantity("K_ru", _("kidney clearance of plasma water, aged to that day"), "mL/min")
QUANTITIES = {
    "kidney_clearance_ml_min": COUNTED,
    "kidney_measured_ml_min": Quantity("K_m", _("urea clearance by the kidneys when it was measured"), "mL/min"),
    "kidney_age_days": Quantity("d_k", _("days since the end of that urine collection"), "d"),
}
PER_SURFACE = "mL/min/1.73 m2"
NOTE = _(
    "The kidneys clear K_ru · 10080 / (1000 · V) volumes a week. In a weekly standard Kt/V they count less than that: "
    "it measures by the urea before treatments, and the kidneys work at the mean, which is lower. The fit and the "
    "planner take the kidneys' share of the urea that leaves; the equation takes 0.4 + 0.974 / (s + 1.62), which comes "
    "near it."
)
"""Why three numbers of the same kidney differ; beside each number that counts it."""
NOTED = frozenset(
    {
        *("kidney_week", "measured_week_kidney", "modelled_week_kidney", "single_pool_needed"),
        *("standard_ktv_kidney", "fitted_week_kidney"),
    }
)


def note_of(key: str) -> str:
    """What stands beside a number by its key."""
    return NOTE if key in NOTED else ""


def counted(left: KidneyLeft | None) -> Inputs:
    """What goes into a dose: nothing of a kidney that nobody measured, said by where it comes from."""
    if left is None:
        return {"kidney_clearance_ml_min": 0.0}
    return {
        "kidney_clearance_ml_min": plasma_water_clearance(clearance_ml_min=left.clearance).number,
        "kidney_measured_ml_min": left.collection.clearance,
        "kidney_age_days": left.days,
    }


def of_kidney(given: Inputs) -> Iterator[WorkingStep]:
    """From what was measured to what counts; no step where nothing was."""
    if given.get("kidney_measured_ml_min") is not None:
        aged = measure(given["kidney_clearance_ml_min"], "mL/min")
        yield WorkingStep(COUNTED, "0.93 · K_m · (2 / 3) ^ (d_k / 365.25)", aged)


def per_surface(*, clearance_ml_min: float | None, height_cm: float, weight_kg: float | None) -> Measure:
    """Urea clearance as measured, for a body of 1.73 m2, by which guidance asks whether a kidney counts."""
    if clearance_ml_min is None:
        return unknown(PER_SURFACE, Reason("no_collection"))
    if weight_kg is None:
        return unknown(PER_SURFACE, Reason("not_given", what="weight_after"))
    surface = surface_area_du_bois(height_cm=height_cm, weight_kg=weight_kg)
    return clearance_per_surface(clearance_ml_min=clearance_ml_min, surface_m2=surface.value)
