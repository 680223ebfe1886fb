"""How much it weighs that a number lies outside its range: what can kill within days is not what is talked over.

The review's ranges say where; this says how much, and `bloods.FAR_OUT` from where a result must not wait. Common
practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from dosing.science.bloods import FAR_OUT


class Weight(IntEnum):
    """NOTE: talk it over; ACT: change something; NOW: do not let the month end."""

    NONE = 0
    NOTE = 1
    ACT = 3
    NOW = 9


@dataclass(frozen=True, slots=True)
class Weighed:
    """What a number weighs below and above its range."""

    below: Weight
    above: Weight


NOTE, ACT, NOW = Weight.NOTE, Weight.ACT, Weight.NOW
DOSE = Weighed(ACT, NOTE)
FLUID = Weighed(NOTE, ACT)
WEIGHTS: dict[str, Weighed] = {
    "nights": DOSE,
    "time": DOSE,
    "weekly_hours": DOSE,
    "modelled_week_kidney": DOSE,
    "measured_week_kidney": DOSE,
    "single_pool_ktv_last": DOSE,
    "uf_over": FLUID,
    "uf_rate_mean": FLUID,
    "high_uf_share": FLUID,
    "off_target_mean": Weighed(ACT, ACT),
    "pre_systolic_mean": Weighed(ACT, ACT),
    "hypotension_share": FLUID,
    "venous_trend": Weighed(NOTE, ACT),
    "arterial_trend": Weighed(ACT, NOTE),
    "potassium": Weighed(ACT, ACT),
    "bicarbonate": Weighed(ACT, NOTE),
    "corrected_calcium": Weighed(ACT, ACT),
    "haemoglobin": Weighed(ACT, NOTE),
    "albumin": Weighed(ACT, NOTE),
    "transferrin_saturation": Weighed(ACT, NOTE),
    "water": Weighed(NOTE, NOW),
}
"""By the key of the number, in its canonical unit; all others are a note."""
OTHERS = Weighed(NOTE, NOTE)
LIKE = {"corrected_calcium": "calcium"}
"""Numbers that are far out where another analyte is."""


def weight_of(key: str, value: float | None, place: int, *, unsure: bool = False) -> Weight:
    """What a number weighs that lies at a place to its range; one that may lie within by its interval is a note."""
    if value is None or place == 0:
        return Weight.NONE
    weighed = WEIGHTS.get(key, OTHERS)
    if _far_out(key, value, place):
        return NOW
    if unsure:
        return NOTE
    return weighed.below if place < 0 else weighed.above


def _far_out(key: str, value: float, place: int) -> bool:
    low, high = FAR_OUT.get(LIKE.get(key, key), (None, None))
    if place < 0:
        return low is not None and value < low
    return high is not None and value > high
