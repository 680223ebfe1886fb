"""How much it weighs that a number lies outside its range: what can kill within days is not what is talked over.

The review's ranges say where; this says how much. Common practice, no source, but for the potassium: from 6.0 before a
treatment deaths are more frequent (Kovesdy et al., Clin J Am Soc Nephrol 2:999-1007, 2007, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum


class Weight(IntEnum):
    """NOTE: talk it over; ACT: change something; NOW: do not let the month end."""

    NONE = 0
    NOTE = 1
    ACT = 3
    NOW = 9


@dataclass(frozen=True, slots=True)
class Weighed:
    """What a number weighs below and above its range, and beyond which values it is urgent; None: never."""

    below: Weight
    above: Weight
    now_below: float | None = None
    now_above: float | None = None


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
    "potassium": Weighed(ACT, ACT, now_below=3.5, now_above=6.0),
    "bicarbonate": Weighed(ACT, NOTE, now_below=15.0),
    "corrected_calcium": Weighed(ACT, ACT, now_below=1.8, now_above=2.9),
    "haemoglobin": Weighed(ACT, NOTE, now_below=80.0),
    "albumin": Weighed(ACT, NOTE),
    "transferrin_saturation": Weighed(ACT, NOTE),
    "water": Weighed(NOTE, NOW),
}
"""By the key of the number, in its canonical unit; all others are a note."""
OTHERS = Weighed(NOTE, NOTE)


def weight_of(key: str, value: float | None, place: int, *, unsure: bool = False) -> Weight:
    """What a number weighs that lies at a place to its range; one that may lie within by its interval is a note."""
    if value is None or place == 0:
        return Weight.NONE
    weighed = WEIGHTS.get(key, OTHERS)
    if _urgent(weighed, value, place):
        return NOW
    if unsure:
        return NOTE
    return weighed.below if place < 0 else weighed.above


def _urgent(weighed: Weighed, value: float, place: int) -> bool:
    if place < 0:
        return weighed.now_below is not None and value < weighed.now_below
    return weighed.now_above is not None and value >= weighed.now_above
