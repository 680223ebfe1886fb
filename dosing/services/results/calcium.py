"""Which albumin a calcium is corrected by: one for the month, the review and the alerts."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from dosing.science.bloods import corrected_calcium
from sessions.facts.choices import Analyte, SampleTiming
from sessions.models import BloodResult

NEAR = timedelta(days=31)
"""How far from a calcium its albumin may lie: both are drawn with the month's bloods (common practice, no source)."""


def albumin_with(calcium: BloodResult, bloods: Iterable[BloodResult]) -> BloodResult | None:
    """The albumin drawn nearest to a calcium, not after a treatment; None where none lies near enough."""
    drawn = [each for each in bloods if each.analyte == Analyte.ALBUMIN and each.timing != SampleTiming.POST]
    near = [each for each in drawn if abs(each.drawn_at - calcium.drawn_at) <= NEAR]
    return min(near, key=lambda each: abs(each.drawn_at - calcium.drawn_at), default=None)


def corrected(calcium: BloodResult, bloods: Iterable[BloodResult]) -> float | None:
    """The calcium corrected by that albumin [mmol/L]; None without one."""
    albumin = albumin_with(calcium, bloods)
    if albumin is None:
        return None
    return corrected_calcium(calcium_mmol_l=calcium.value, albumin_g_l=albumin.value).number
