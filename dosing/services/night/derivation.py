"""How a stored number of a night came about, in symbols and words."""

from __future__ import annotations

from dosing.services.night.treatments import ComputedNight
from dosing.services.night.working import QUANTITIES
from dosing.services.numbers.origin import Origin, OriginKind
from dosing.services.numbers.working import Worked, worked


def worked_of_night(night: ComputedNight, key: str) -> Worked:
    """One number of a night, laid out. What is said to come from nowhere else comes from its own record."""
    return worked(night.figure(key), QUANTITIES, otherwise=Origin(OriginKind.RECORD, night.record.started_at))
