"""Fluid that one treatment took off, by each way in which a record can say it, and which way is believed.

One litre is taken as one kilogram. `taken_off` is what the machine took; `net` is what the patient lost: rinse-back,
drinks and infusions came in meanwhile. Equations of dose mean net fluid, the UF rate means what the machine took.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

ENOUGH_READ = 0.9
"""Share of the treatment from which the last reading stands for the whole volume (common practice, no source)."""
BALANCE_ALLOWS = 0.7
"""[L] by which total and weights may differ before one of them is doubtful (common practice, no source)."""
MOST_OFF = 10.0
"""[L] of one treatment beyond which no way is believed; the hard range of the record."""


class FluidBy(StrEnum):
    """The ways, best first."""

    TOTAL = "total"
    WEIGHTS = "weights"
    READINGS = "readings"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fluid:
    """What a record says of the fluid [L].

    total: the machine's; weight_lost: W before - W after; given: rinse-back, drinks and saline as far as noted;
    by_readings: the last reading of the volume so far, read_at: its minute, of so many minutes.
    """

    total: float | None = None
    weight_lost: float | None = None
    given: float = 0.0
    rinse_back_known: bool = False
    by_readings: float | None = None
    read_at: float | None = None
    minutes: float | None = None

    @property
    def by_weights(self) -> float | None:
        """What must have come off for the weights to be right: W before - W after + given [L]."""
        return None if self.weight_lost is None else self.weight_lost + self.given

    @property
    def read_late(self) -> bool:
        """Whether the last reading lies near enough to the end to stand for the total."""
        if self.by_readings is None or self.read_at is None or not self.minutes:
            return False
        return self.read_at >= ENOUGH_READ * self.minutes

    @property
    def by(self) -> FluidBy | None:
        """Which way is believed; None where none can be."""
        if self.total is not None:
            return FluidBy.TOTAL
        if self.by_weights is not None and 0 <= self.by_weights <= MOST_OFF:
            return FluidBy.WEIGHTS
        return FluidBy.READINGS if self.read_late else None

    @property
    def taken_off(self) -> float | None:
        """What the machine took off [L]."""
        ways = {FluidBy.TOTAL: self.total, FluidBy.WEIGHTS: self.by_weights, FluidBy.READINGS: self.by_readings}
        return ways[self.by] if self.by else None

    @property
    def net(self) -> float | None:
        """What the patient lost [L]: taken off less what came in; never below nought."""
        return None if self.taken_off is None else max(0.0, self.taken_off - self.given)

    @property
    def off_balance(self) -> float | None:
        """Total less what the weights say [L], where both are known."""
        if self.total is None or self.by_weights is None:
            return None
        return self.total - self.by_weights

    @property
    def balances(self) -> bool:
        """Whether total and weights agree as far as both are known."""
        return self.off_balance is None or abs(self.off_balance) <= BALANCE_ALLOWS
