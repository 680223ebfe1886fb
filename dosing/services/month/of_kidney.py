"""What a month says of the patient's own kidneys, and of the dose with them."""

from __future__ import annotations

from dosing.science import adequacy, body
from dosing.science.guidance import GUIDANCE, GuidedSchedule
from dosing.science.kidney import urine_per_day_ml, weekly_kidney_ktv
from dosing.science.reasons import Reason
from dosing.science.results import measure, unknown
from dosing.services.month.facts import MonthFacts
from dosing.services.numbers import kidney
from dosing.services.numbers.number import Computation, Inputs

NO_COLLECTION = Reason("no_collection")


def _collected_on(facts: MonthFacts) -> str:
    return facts.kidney.collection.ended.isoformat() if facts.kidney else ""


def clearance(facts: MonthFacts) -> Computation:
    """Residual urea clearance for 1.73 m2, of the newest collection that counts."""
    found, orders = facts.kidney, facts.prescription
    inputs: Inputs = {}
    if found and orders:
        inputs = {
            "clearance_ml_min": found.collection.clearance,
            "height_cm": facts.patient.height_cm,
            "weight_kg": orders.target_weight_kg,
        }
    return Computation(inputs, facts.kidney_per_surface, _collected_on(facts))


def age(facts: MonthFacts) -> Computation:
    """Days from the end of that collection to the end of the month."""
    if facts.kidney is None:
        return Computation({}, unknown("d", NO_COLLECTION))
    days = facts.kidney.days
    return Computation({"kidney_days": days}, measure(days, "d"), _collected_on(facts))


def urine(facts: MonthFacts) -> Computation:
    """Urine of a day, of that collection."""
    if facts.kidney is None:
        return Computation({}, unknown("mL/d", NO_COLLECTION))
    inputs = {"urine_ml": facts.kidney.collection.urine_ml, "minutes": facts.kidney.collection.minutes}
    return Computation(inputs, urine_per_day_ml(**inputs), _collected_on(facts))


def weekly(facts: MonthFacts, *, volume_l: float | None) -> Computation:
    """Volumes of body water that the kidneys clear in a week, by what is left of them at the end of the month."""
    if facts.kidney is None:
        return Computation({}, unknown("1/wk", NO_COLLECTION))
    if volume_l is None:
        return Computation({}, unknown("1/wk", Reason("no_volume")))
    inputs = kidney.counted(facts.kidney) | {"volume_l": volume_l}
    answer = weekly_kidney_ktv(clearance_ml_min=inputs["kidney_clearance_ml_min"], volume_l=volume_l)
    return Computation(inputs, answer, _collected_on(facts))


def per_surface(facts: MonthFacts, week: Computation) -> Computation:
    """A weekly standard Kt/V, with the kidney, for the size of the patient's surface."""
    if week.answer.reason or facts.prescription is None:
        return Computation({}, unknown("1/wk", week.answer.reason or Reason("no_prescription")))
    water = body.total_body_water_watson(**facts.body)
    surface = body.surface_area_du_bois(height_cm=facts.body["height_cm"], weight_kg=facts.body["weight_kg"])
    answer = adequacy.surface_normalised_standard_ktv(
        standard=week.answer.value, volume_l=water.value, surface_m2=surface.value
    )
    return Computation({"standard": week.answer.number} | facts.body, answer)


def single_pool_needed(facts: MonthFacts, week: Inputs | Reason) -> Computation:
    """Single-pool Kt/V that each treatment needs for the week that is aimed at, other than three a week.

    week: what the weekly standard Kt/V of the month is computed from, or why it is not.
    """
    orders = facts.prescription
    if orders is None or isinstance(week, Reason):
        return Computation({}, unknown("1", week if isinstance(week, Reason) else Reason("no_prescription")))
    if facts.schedule is not GuidedSchedule.OTHER:
        return Computation({}, unknown("1", Reason("judged_by_treatment")))
    inputs = {
        "target": GUIDANCE["weekly_standard_ktv"].end("aim_low"),
        "minutes": orders.minutes,
        "per_week": orders.days_per_week,
        "weekly_uf_l": week["weekly_uf_l"],
        "volume_l": week["volume_l"],
        "kidney_clearance_ml_min": week["kidney_clearance_ml_min"],
    }
    return Computation(inputs | kidney.counted(facts.kidney), adequacy.single_pool_ktv_needed(**inputs))
