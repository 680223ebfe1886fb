"""Weekly standard Kt/V by the fit to the delivered course: one computation for a night's four weeks and for a month."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from django.utils.translation import gettext_noop as _

from dosing.science import sources as k
from dosing.science.course import DeliveredCourse
from dosing.science.gate import volume_unlike_body
from dosing.science.reasons import Reason
from dosing.science.results import measure, unknown
from dosing.services.course.urea_fit import UreaFit
from dosing.services.numbers.number import Computation, Inputs
from dosing.services.numbers.quantity import Quantity
from sessions.facts.choices import Analyte

MINUTES = float(k.MINUTES_PER_WEEK)
MODEL = _("two-pool urea model fitted to the treatments as they were and to the bloods of half a year")
QUANTITIES = {
    "volume_l": Quantity("V", _("urea distribution volume after a treatment"), "L"),
    "volume_spread_l": Quantity("SD_V", _("one standard deviation of V"), "L"),
    "generation_mmol_min": Quantity("G", _("urea generation"), "mmol/min"),
    "kidney_fitted_ml_min": Quantity("K_f", _("kidney clearance of plasma water by now, as the fit has it"), "mL/min"),
    "clearance_share": Quantity("k", _("clearance delivered, of that noted")),
    "pairs": Quantity("n_f", _("pairs of bloods in the fit")),
    "mean_pre_mmol_l": Quantity(
        "C_m", _("mean urea before the treatments, in plasma water"), "mmol/L", Analyte.UREA.value
    ),
    "kidney_share": Quantity("p_k", _("share of the urea that leaves by the kidney")),
}
WITH_KIDNEY = "10080 · G / (V · C_m)"
ALONE = f"{WITH_KIDNEY} · (1 − p_k)"


def week(fit: UreaFit | None, *, with_kidney: bool) -> Computation:
    """Of the one period that a fit was asked for, with its interval. fit: None where there was no prescription."""
    if fit is None:
        return Computation({}, unknown("1/wk", Reason("no_prescription")))
    dose = fit.doses[0]
    if isinstance(dose, Reason):
        return Computation(_inputs(fit), unknown("1/wk", dose))
    value, interval = (dose.whole, dose.whole_interval) if with_kidney else (dose.alone, dose.alone_interval)
    mean_pre = MINUTES * fit.generation / (fit.volume * dose.whole)
    inputs = _inputs(fit) | {"mean_pre_mmol_l": mean_pre, "kidney_share": dose.of_kidney / dose.whole}
    return Computation(inputs, measure(value, "1/wk"), interval=interval)


def _inputs(fit: UreaFit) -> Inputs:
    return {
        "volume_l": fit.volume,
        "volume_spread_l": fit.volume_spread,
        "generation_mmol_min": fit.generation,
        "kidney_fitted_ml_min": fit.kidney,
        "clearance_share": fit.person.clearance_factor,
        "pairs": fit.pairs,
    }


def of_body_alone(fit: UreaFit | None) -> Iterator[Reason]:
    """Whether no blood is among what the fit rests on."""
    if fit and not fit.fitted and fit.why:
        yield Reason("known_of_body_alone", why=fit.why)


def of_volume(fit: UreaFit | None, course: DeliveredCourse, *, weight_kg: float | None, on: date) -> Iterator[Reason]:
    """Whether the volume that explains the bloods with the noted clearance fits the body at the target weight."""
    if fit and fit.fitted and weight_kg is not None:
        yield from volume_unlike_body(course, fit.volume_as_noted, weight_kg=weight_kg, on=on)


def of_forecast(fit: UreaFit | None) -> Iterator[Reason]:
    """Whether the last bloods were far from what the earlier ones foretold."""
    checks = fit.checks if fit else ()
    if checks and checks[-1].drifted:
        yield Reason("forecast_missed", percent=round(100 * checks[-1].ratio_off))
