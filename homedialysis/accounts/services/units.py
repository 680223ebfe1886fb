"""In which units things are spoken of, and how days are written: said once for a request or a job, asked wherever they
are written.

What is kept, judged and exchanged has one canonical unit and never asks here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from homedialysis.accounts.choices import (
    DayOrder,
    English,
    FirstWeekday,
    HourClock,
    TemperatureUnit,
    UnitSystem,
    WeightUnit,
)

if TYPE_CHECKING:
    from homedialysis.accounts.models import Unit, User

LB_IN_KG = 0.45359237
"""Exactly: international yard and pound agreement, 1959."""


@dataclass(frozen=True, slots=True)
class Dates:
    """The order of a day, the clock and the first day of a week, as the unit writes them (see dates.py)."""

    order: str = DayOrder.DAY_FIRST
    clock: str = HourClock.H24
    week_begins: int = FirstWeekday.MONDAY


@dataclass(frozen=True, slots=True)
class Spoken:
    """system: of bloods; analytes: those that the unit reads in another of their units, by LOINC code; weight and
    temperature of the body, of the unit or of the reader; dates: as the unit writes them; english: as it spells it.
    """

    system: str = UnitSystem.SI
    analytes: Mapping[str, str] = field(default_factory=dict, hash=False)
    weight: str = WeightUnit.KG
    temperature: str = TemperatureUnit.CELSIUS
    dates: Dates = Dates()
    english: str = English.BRITISH


SI = Spoken()
"""The canonical units, where nobody said."""
_spoken: ContextVar[Spoken] = ContextVar("units", default=SI)


def spoken() -> Spoken:
    """The units of this request or job."""
    return _spoken.get()


@contextmanager
def speaking(units: Spoken) -> Iterator[None]:
    """Everything within is written in these units."""
    before = _spoken.set(units)
    try:
        yield
    finally:
        _spoken.reset(before)


def units_of(unit: Unit | None, reader: User | None = None) -> Spoken:
    """The units of a reader: those of the unit, but for weight and temperature where the reader chose others."""
    if unit is None:
        return SI
    return replace(
        canonical_of(unit),
        system=unit.unit_system,
        analytes=unit.analyte_units,
        weight=(reader and reader.weight_unit) or unit.weight_unit,
        temperature=(reader and reader.temperature_unit) or unit.temperature_unit,
    )


def canonical_of(unit: Unit | None) -> Spoken:
    """Canonical units in sentences that have the dates and the spelling of this unit: what programs are answered."""
    if unit is None:
        return SI
    return Spoken(dates=Dates(unit.day_order, unit.hour_clock, unit.week_begins), english=unit.english)


def unit_speaks() -> Spoken:
    """The units that the unit has chosen, for what is written for nobody in particular."""
    from homedialysis.accounts.models import Unit

    return units_of(Unit.objects.first())


@dataclass(frozen=True, slots=True)
class Told:
    """How a canonical unit is told: its name, and value told = factor · value kept + offset."""

    unit: str
    factor: float = 1.0
    offset: float = 0.0

    @property
    def differs(self) -> bool:
        return self.factor != 1

    def of(self, kept: float) -> float:
        """A value as it is told.

        >>> Told("°F", 1.8, 32).of(37.0)
        98.6
        """
        return kept * self.factor + self.offset if self.differs else kept

    def change(self, kept: float) -> float:
        """A difference of two values as it is told."""
        return kept * self.factor

    def kept(self, given: float) -> float:
        """The canonical value of one that was typed.

        >>> round(Told("lb", 1 / 0.45359237).kept(155), 3)
        70.307
        """
        return (given - self.offset) / self.factor if self.differs else given


_OF_BODY = {
    WeightUnit.LB.value: Told("lb", 1 / LB_IN_KG),
    TemperatureUnit.FAHRENHEIT.value: Told("°F", 1.8, 32.0),
}


def told_in(unit: str) -> Told:
    """How a weight or a temperature of the body is told just now; any other unit is told as it is."""
    chosen = {"kg": spoken().weight, "°C": spoken().temperature}.get(unit, unit)
    return _OF_BODY.get(chosen) or Told(unit)
