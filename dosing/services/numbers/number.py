"""One kind of computed number: declared once, and every list that names computed numbers reads the declaration.

The numbers of a night are declared in `dosing.services.night.catalogue`, those of a month in
`dosing.services.month.catalogue`. A new one is an entry there, a function of the science and its published check.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Generic, TypeVar

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _
from django_stubs_ext import StrOrPromise

from dosing.science.guidance import GuidedSchedule
from dosing.science.reasons import Reason
from dosing.science.results import Measure, unknown
from dosing.science.sources import Status
from dosing.science.water import Grade
from dosing.services.numbers.blood_units import spoken_of
from dosing.services.numbers.origin import Origin
from dosing.services.numbers.quantity import Quantity, Steps
from dosing.services.numbers.seen import with_status
from dosing.services.numbers.standing import NumberInterval
from homedialysis.accounts.services.units import Told, told_in
from sessions.facts.local_number import decimals, rounded
from sessions.facts.ranges import UCUM

Facts = TypeVar("Facts")
Inputs = dict[str, Any]
GRADE = "grade"
"""The unit of a number that is a grade of the water standard."""
GRADES = {
    int(Grade.PASS): _("within the limit"),
    int(Grade.ACTION): _("action level"),
    int(Grade.FAIL): _("over the limit"),
}


class Scope(StrEnum):
    """What a number is computed of."""

    NIGHT = "night"
    MONTH = "month"


class ShownIn(StrEnum):
    """A list that shows some of the numbers; all others show every number of their scope."""

    ANSWER = "answer"
    """the answer to a night that was handed over"""
    PHONE = "phone"
    """what the phone keeps of earlier nights"""
    TREATMENTS = "treatments"
    """the table of treatments on a patient's page"""
    UNIT_REPORT = "unit report"
    """shares of patients in range"""


@dataclass(frozen=True, slots=True)
class UsualRange:
    """A range that a month is held against, and who says so; None is open.

    low, high: beyond them a number is outside; aim_low, aim_high: what is aimed at, inside them; schedule: the
    patients whom it is for; source: in words, as people read it.
    """

    low: float | None
    high: float | None
    source: StrOrPromise
    aim_low: float | None = None
    aim_high: float | None = None
    schedule: GuidedSchedule = GuidedSchedule.ANY

    def holds_for(self, schedule: str | None) -> bool:
        """Whether a patient of this schedule is judged by it. schedule: of `schedule_of`, "" or None where unknown."""
        return self.schedule in (GuidedSchedule.ANY, schedule)


@dataclass(frozen=True, slots=True)
class Computation:
    """What a number was computed from, and the answer. at: when it was measured (ISO), for results that can be old.

    interval: where the true value lies, of numbers that have one; doubts: what speaks against a known number;
    origins: where inputs come from, by their names.
    """

    inputs: Inputs
    answer: Measure
    at: str = ""
    interval: NumberInterval | None = None
    doubts: tuple[Reason, ...] = ()
    origins: Mapping[str, Origin] = field(default_factory=dict)


Asked = Callable[..., float | None]
"""The number again with some of its inputs changed."""
Refusal = Callable[[Facts], Reason | None]
"""Why a number of these facts cannot be asked for."""
Doubt = Callable[[Facts, Asked], Iterable[Reason]]
"""Why a number of these facts is doubtful."""


@dataclass(frozen=True, slots=True)
class Equation(Generic[Facts]):
    """A function of the science with the facts that go into it.

    refusals: what keeps these facts from an answer before the function is asked; doubts: what makes it doubtful.
    """

    inputs: Callable[[Facts], Inputs]
    compute: Callable[..., Measure]
    refusals: tuple[Refusal[Facts], ...] = ()
    doubts: tuple[Doubt[Facts], ...] = ()

    def __call__(self, facts: Facts) -> Computation:
        inputs = self.inputs(facts)
        why = next((reason for refuse in self.refusals if (reason := refuse(facts))), None)
        answer = self.compute(**inputs) if why is None else unknown("1", why)
        if answer.number is None:
            return Computation(inputs, answer)

        def asked(**changed: Any) -> float | None:
            return self.compute(**(inputs | changed)).number

        found = [reason for doubt in self.doubts for reason in doubt(facts, asked)]
        return Computation(inputs, answer, doubts=tuple(dict.fromkeys(found)))


@dataclass(frozen=True, slots=True)
class Number(Generic[Facts]):
    """A number and all that is said of it. Words are English; the properties give them in the reader's language.

    key: with the stored numbers, of one number only in both scopes; name, short_name: for people; written: its
    equation; origin: where the equation comes from, seen: how far that was, None where it needs no words; ask: computes
    it; percent: a share of one that people read as per cent; group: of its neighbours, as heads of columns; usual: the
    range of the monthly review; places: the lists that show it; chart: numbers of one word are drawn together; loinc:
    where a verified code is known; words: what it calls inputs that others call
    otherwise; steps: what lies between them and the result; note: what a reader may ask who compares it with others.
    """

    key: str
    name: str
    short_name: str
    unit: str
    decimals: int
    written: str
    origin: str
    ask: Callable[[Facts], Computation]
    scope: Scope
    group: str = ""
    percent: bool = False
    usual: UsualRange | None = None
    places: frozenset[ShownIn] = frozenset()
    chart: str = ""
    loinc: str = ""
    seen: Status | None = None
    words: Mapping[str, Quantity] = field(default_factory=dict, hash=False)
    steps: Steps | None = None
    note: str = ""
    analyte: str = ""
    """The LOINC code of what a laboratory measures, of a number that people read in the unit of their place."""

    @property
    def label(self) -> str:
        """The name in the language of the reader."""
        return gettext(self.name)

    @property
    def short(self) -> str:
        return gettext(self.short_name)

    @property
    def equation(self) -> str:
        return gettext(self.written)

    @property
    def note_words(self) -> str:
        return gettext(self.note) if self.note else ""

    @property
    def source(self) -> str:
        """Where the equation comes from, and how far that was seen."""
        origin = gettext(self.origin)
        return origin if self.seen is None else with_status(origin, self.seen)

    @property
    def function(self) -> str:
        """The function that computes it, by its place in the code."""
        compute: Any = getattr(self.ask, "compute", self.ask)
        name = compute.__qualname__
        return compute.__module__ if "<" in name else f"{compute.__module__}.{name}"

    @property
    def unit_shown(self) -> str:
        """The unit as pages write it; nothing for plain numbers and grades."""
        if self.percent:
            return "%"
        if self.analyte:
            return spoken_of(self.analyte).unit
        return "" if self.unit in ("1", GRADE) else gettext(self.told.unit)

    @property
    def told(self) -> Told:
        """How a value is told that is kept in its unit; a phone is given it beside the canonical one."""
        return told_in(self.unit)

    @property
    def heading(self) -> str:
        """Short name and unit, for the head of a column."""
        return f"{self.short}, {self.unit_shown}" if self.unit_shown else self.short

    @property
    def ucum(self) -> str | None:
        """The code of the unit in which `as_read` gives it."""
        return UCUM.get("%" if self.percent else self.unit)

    @property
    def places_shown(self) -> int:
        """Figures behind the decimal sign."""
        return 0 if self.percent else self.decimals

    def as_read(self, value: float) -> float:
        """The value in the unit that people read: a share as per cent."""
        return 100 * value if self.percent else value

    def rounded(self, value: float) -> float:
        """The value as people read it: what reads as the limit is not over it, and nothing reads as minus nought."""
        return float(rounded(self.as_read(value), self.places_shown)) + 0.0

    def text(self, value: float) -> str:
        """The value without unit, with a true minus and the decimal sign of the reader; a grade in words."""
        if self.unit == GRADE:
            return gettext(GRADES[int(value)])
        if self.analyte and (factor := spoken_of(self.analyte).factor) != 1:
            places = max(0, self.decimals - (factor > 2) + (factor < 0.5))
            return decimals(value * factor, places).replace("-", "−")
        if self.told.differs:
            return decimals(self.told.of(value), self.places_shown).replace("-", "−")
        return decimals(self.rounded(value), self.places_shown).replace("-", "−")

    def as_drawn(self, value: float) -> float:
        """The value on an axis whose unit is `unit_shown`."""
        if self.analyte:
            return spoken_of(self.analyte).from_canonical(value)
        return self.told.of(self.as_read(value))


class Catalogue(dict[str, Number[Facts]]):
    """The numbers of one scope by key, in the order in which every list shows them."""

    def __init__(self, *numbers: Number[Facts]) -> None:
        super().__init__({number.key: number for number in numbers})
        if len(self) != len(numbers):
            raise ValueError("two numbers have the same key")

    def at(self, place: ShownIn) -> list[Number[Facts]]:
        """Those that a list shows."""
        return [number for number in self.values() if place in number.places]

    def groups(self) -> dict[str, list[Number[Facts]]]:
        """All of them by the head of their columns."""
        found: dict[str, list[Number[Facts]]] = {}
        for number in self.values():
            found.setdefault(gettext(number.group) if number.group else "", []).append(number)
        return found

    def charts(self) -> list[list[Number[Facts]]]:
        """Those that are drawn, in the pictures in which they stand together."""
        found: dict[str, list[Number[Facts]]] = {}
        for number in self.values():
            if number.chart:
                found.setdefault(number.chart, []).append(number)
        return list(found.values())
