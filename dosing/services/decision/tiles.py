"""The four blocks of a decision: dose, fluid, access, bloods; each with numbers, half a year, what persists, what was
done about it and what came of that.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from dosing.services.decision.chart import DayLevel, DayPoint, Frame, SmallChart, small_chart
from dosing.services.decision.decided import Mark, SignedMark, access_marks, medicine_marks, order_marks, signed
from dosing.services.decision.forecast_words import line_for
from dosing.services.decision.half_year import HalfYear
from dosing.services.decision.persisting import Known, known_months, on_the_way, persisting
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.headlines import TILES, TileKind
from dosing.services.month.review_sheet import NumberOfMonth, ReviewSheet
from dosing.services.numbers.blood_units import spoken_of
from dosing.services.numbers.kept import KeptNumber, kept_number
from dosing.services.numbers.number import Number
from homedialysis.accounts.services.dates import told_day
from sessions.facts.choices import Analyte, EventKind, SampleTiming
from sessions.facts.local_day import plain_day
from sessions.facts.local_number import plain
from sessions.facts.medicines import MedicationKind
from sessions.services.findings import flows_of

PRESSURE = (MedicationKind.PRESSURE,)
"""Medicines that stand with the fluid."""
CLOTTING = (MedicationKind.ANTICOAGULANT,)
"""Medicines that stand with the access, beside what is ordered against clotting in the treatment."""
OF_BLOODS = tuple(kind for kind in MedicationKind.values if kind not in (*PRESSURE, *CLOTTING))
"""All others stand with the bloods."""


@dataclass(frozen=True, slots=True)
class TileFigure:
    """A number of the month as it stands on the screen; known: its months."""

    number: Number[Any]
    kept: KeptNumber
    cell: NumberOfMonth

    @property
    def sign(self) -> str:
        """▲ above, ▼ below, in brackets where the interval reaches into the range."""
        sign = {1: "▲", -1: "▼"}.get(self.cell.place, "")
        return f"({sign})" if sign and self.cell.unsure else sign

    @property
    def sign_words(self) -> str:
        return {1: _("above the range"), -1: _("below the range")}.get(self.cell.place, "")


@dataclass(frozen=True, slots=True)
class Tile:
    """One block. wrong: what is outside and since when, then what is on the way there; unknown: reasons, with the
    numbers they are said of; notes: what else is known of it; decided: what was changed, oldest first; came: what came
    of the last change that a number tells of; medicines: what is taken at the end, in words, and taken what is said
    before them.
    """

    kind: TileKind
    lead: TileFigure
    others: list[TileFigure]
    charts: list[SmallChart]
    wrong: list[str]
    coming: list[str]
    unknown: list[str]
    notes: list[str]
    decided: list[SignedMark]
    came: str
    medicines: list[str] | None

    @property
    def taken(self) -> str:
        words = {"fluid": _("Taken against high pressure:"), "access": _("Taken against clotting:")}
        return words.get(self.kind.key, _("Taken:"))


@dataclass(frozen=True)
class Screen:
    """All four, from a review's sheet and half a year."""

    sheet: ReviewSheet
    half_year: HalfYear
    _known: dict[str, Known] = field(default_factory=dict)

    def tiles(self) -> list[Tile]:
        return [self._tile(kind) for kind in TILES]

    def _tile(self, kind: TileKind) -> Tile:
        figures = [self._figure(key) for key in kind.numbers]
        marks = signed(_marks(self.half_year, kind))
        return Tile(
            kind=kind,
            lead=figures[0],
            others=figures[1:],
            charts=[chart for chart in CHARTS[kind.key](self, [(each.mark.day, each.sign) for each in marks]) if chart],
            wrong=[*self._wrong(figures), *(_flows(self.half_year, alarming=True) if kind.key == "access" else [])],
            coming=list(self._coming(figures)),
            unknown=_unknown(figures),
            notes=list(NOTES[kind.key](self.half_year)) if kind.key in NOTES else [],
            decided=marks,
            came=self._came(kind, marks),
            medicines=self._medicines(MEDICINES[kind.key]) if kind.key in MEDICINES else None,
        )

    def _figure(self, key: str) -> TileFigure:
        line = next(line for line in self.sheet.lines if line.number.key == key)
        return TileFigure(line.number, kept_number(line.number, self.sheet.numbers), line.cells[0])

    def known(self, figure: TileFigure) -> Known:
        """The known months of a number, the one that is judged last."""
        own = (self.sheet.month, figure.kept.value, figure.cell.place)
        key = figure.number.key
        return self._known.setdefault(key, known_months(figure.number, self.half_year.rows, self.sheet.ranges, own))

    def _wrong(self, figures: Sequence[TileFigure]) -> Iterator[str]:
        for figure in figures:
            if found := persisting(figure.number, self.known(figure), self.sheet.month):
                yield found.words

    def _coming(self, figures: Sequence[TileFigure]) -> Iterator[str]:
        schedule = self.sheet.row.schedule if self.sheet.row else ""
        for figure in figures:
            known = self.known(figure)
            if found := on_the_way(figure.number, known, self.sheet.month, self.sheet.ranges, schedule):
                yield found.words

    def _came(self, kind: TileKind, marks: Sequence[SignedMark]) -> str:
        """What was foretold of the last change that a number tells of, and what came; where nothing was foretold, the
        numbers that it is held against, before and since, each with its month.
        """
        last = next((each for each in reversed(marks) if each.mark.moves), None)
        if last is None:
            return ""
        forecast = self.half_year.forecasts.get(last.mark.version or 0)
        if forecast and (line := line_for(kind.key, forecast)):
            return f"{last.sign}: {line}"
        told = [came_of(figure.number, self.known(figure), last.mark.day, self.sheet.month)
                for figure in map(self._figure, last.mark.moves)]  # fmt: skip
        return _("%(sign)s: %(told)s.") % {"sign": last.sign, "told": "; ".join(told)}

    def _medicines(self, kinds: Collection[str]) -> list[str]:
        """What is taken at the end, and was not stopped with the last day."""
        half_year = self.half_year
        return [str(row) for row in half_year.medicines if row.kind in kinds and row.goes_on_after(half_year.last)]

    @property
    def frame(self) -> Frame:
        return Frame(self.half_year.first, self.half_year.last)


def came_of(number: Number[Any], known: Known, changed: date, month: date) -> str:
    """A number in the last known month before a change and in the last one after it, up to the month that is judged."""
    before = [each for each in known if each[0] < changed.replace(day=1)]
    after = [each for each in known if each[0] > changed.replace(day=1)]
    if not before:
        return _("nothing is known of %(number)s before it") % {"number": number.short}
    if not after:
        early = changed.replace(day=1) >= month
        words = _("%(number)s: too early to say") if early else _("%(number)s is not known since")
        return words % {"number": number.short}
    parts = {"number": number.short, "unit": number.unit_shown}
    for name, (when, value, _place) in (("before", before[-1]), ("after", after[-1])):
        parts |= {name: number.text(value), f"{name}_month": told_day(when, "M Y")}
    return _("%(number)s %(before)s %(unit)s in %(before_month)s, %(after)s %(unit)s in %(after_month)s") % parts


MEDICINES = {"fluid": PRESSURE, "access": CLOTTING, "bloods": OF_BLOODS}


def _marks(half_year: HalfYear, kind: TileKind) -> list[Mark]:
    marks = order_marks(half_year, kind)
    if kind.key == "access":
        marks += access_marks(half_year, kind)
    return [*marks, *medicine_marks(half_year, MEDICINES.get(kind.key, ()))]


def _unknown(figures: Sequence[TileFigure]) -> list[str]:
    """Why numbers are not known, and what makes others doubtful: a line for each reason."""
    whys: dict[str, list[str]] = {}
    for figure in figures:
        if figure.kept.value is None:
            whys.setdefault(_("not known: %(why)s") % {"why": figure.kept.why}, []).append(figure.number.short)
        elif figure.kept.because:
            whys.setdefault(_("doubtful: %(why)s") % {"why": figure.kept.because}, []).append(figure.number.short)
    return [f"{', '.join(names)} {words}" for words, names in whys.items()]


Marks = Sequence[tuple[Any, str]]


def _dose_charts(screen: Screen, marks: Marks) -> Iterator[SmallChart | None]:
    number = MONTH_NUMBERS["modelled_week_kidney"]
    yield _months_chart(screen, number, marks)


def _months_chart(screen: Screen, number: Number[Any], marks: Marks) -> SmallChart | None:
    """A number month by month, with its interval, drawn in the middle of each month; its range as limits."""
    half_year, sheet = screen.half_year, screen.sheet
    points = []
    for month in sorted({*half_year.rows, sheet.month}):
        row = half_year.rows.get(month)
        kept = kept_number(number, sheet.numbers if month == sheet.month else row.numbers if row else {})
        if kept.value is None or month < half_year.first:
            continue
        ends = (kept.interval.low, kept.interval.high) if kept.interval else (None, None)
        low, high = (None if end is None else number.as_drawn(end) for end in ends)
        points.append(DayPoint(min(month.replace(day=15), half_year.last), number.as_drawn(kept.value), low, high))
    title = _with_unit(number)
    return small_chart(
        title,
        screen.frame,
        [("small-first", points)],
        levels=_levels(screen, number),
        marks=marks,
        places=number.decimals,
    )


def _with_unit(number: Number[Any]) -> str:
    return f"{number.label}, {number.unit_shown}" if number.unit_shown else number.label


def _levels(screen: Screen, number: Number[Any]) -> list[DayLevel]:
    """The ends of the range, all along the frame."""
    row = screen.sheet.row
    usual = screen.sheet.ranges.held_for(number.key, row.schedule if row else "")
    ends = (usual.low, usual.high) if usual else ()
    first, last = screen.half_year.first, screen.half_year.last
    return [DayLevel(first, last, number.as_drawn(end)) for end in ends if end is not None]


def _fluid_charts(screen: Screen, marks: Marks) -> Iterator[SmallChart | None]:
    nights = screen.half_year.nights
    rates = [DayPoint(night.day, night.uf_rate) for night in nights if night.uf_rate is not None]
    low = [DayPoint(night.day, night.uf_rate) for night in nights if night.uf_rate is not None and night.low]
    limits: list[DayLevel] = []
    for night in nights:
        if night.limit is None:
            continue
        if limits and limits[-1].value == night.limit:
            limits[-1] = DayLevel(limits[-1].first, night.day, night.limit)
        else:
            limits.append(DayLevel(night.day, night.day, night.limit))
    title = _("UF rate, mL/kg/h; dashed: ordered at most; filled: low pressure noted")
    yield small_chart(title, screen.frame, [("small-dots", rates), ("small-told", low)], levels=limits, marks=marks)


def _access_charts(screen: Screen, marks: Marks) -> Iterator[SmallChart | None]:
    points = [DayPoint(night.day, night.venous) for night in screen.half_year.nights if night.venous is not None]
    title = _("Venous pressure of each treatment, mmHg")
    yield small_chart(title, screen.frame, [("small-dots", points)], marks=marks, places=0)


DRAWN_BLOODS = (
    (Analyte.POTASSIUM, "potassium"),
    (Analyte.PHOSPHATE, "phosphate"),
    (Analyte.HAEMOGLOBIN, "haemoglobin"),
)
"""What moves most from month to month; the others stand as numbers."""


def _blood_charts(screen: Screen, marks: Marks) -> Iterator[SmallChart | None]:
    frame = Frame(screen.half_year.first, screen.half_year.last, width=200.0)
    for analyte, key in DRAWN_BLOODS:
        shown, number = spoken_of(analyte), MONTH_NUMBERS[key]
        points = [
            DayPoint(localtime(each.drawn_at).date(), shown.from_canonical(each.value))
            for each in screen.half_year.bloods
            if each.analyte == analyte and each.timing != SampleTiming.POST
        ]
        levels = _levels(screen, number)
        title = f"{number.short}, {number.unit_shown}"
        yield small_chart(title, frame, [("small-first", points)], levels=levels, marks=marks)


CHARTS: dict[str, Callable[[Screen, Marks], Iterator[SmallChart | None]]] = {
    "dose": _dose_charts,
    "fluid": _fluid_charts,
    "access": _access_charts,
    "bloods": _blood_charts,
}


def _dose_notes(half_year: HalfYear) -> Iterator[str]:
    """Urine over time: each collection of the half year."""
    if not half_year.urine:
        yield _("Urine: none collected in this half year.")
    else:
        told = (
            _("%(ml)s mL/d (%(day)s)")
            % {"ml": plain(round(each.volume_ml / each.minutes * 1440)), "day": plain_day(localtime(each.ended_at))}
            for each in half_year.urine[-4:]
        )
        yield _("Urine: %(values)s") % {"values": " → ".join(told)}


NOTED_FLUID = (EventKind.HYPOTENSION, EventKind.CRAMP, EventKind.DIZZY, EventKind.FAINTED, EventKind.BREATHLESS)
NOTED_ACCESS = (EventKind.BLEEDING, EventKind.INFILTRATION, EventKind.NEEDLE_DISLODGED, EventKind.CLOTTING)


def _fluid_notes(half_year: HalfYear) -> Iterator[str]:
    yield _events_words(half_year, NOTED_FLUID) or _(
        "No drop of pressure, cramp, dizziness, fainting or shortness of breath noted."
    )
    if half_year.events.get(EventKind.HYPOTENSION):
        yield _(
            "“Low pressure” goes by the lowest pressure of a treatment: under 90 mmHg, under 100 from 160 before, or "
            "noted without a figure. A drop noted with a higher one is not in it."
        )


def _access_notes(half_year: HalfYear) -> Iterator[str]:
    if half_year.access is None:
        yield _("No access is noted as in use.")
    else:
        since = {"access": half_year.access, "day": plain_day(half_year.access.created_on)}
        yield _("In use: %(access)s, since %(day)s") % since
        yield from _flows(half_year, alarming=False)
    yield _events_words(half_year, NOTED_ACCESS) or _("No bleeding, swelling, clotting or lost needle noted.")


def _flows(half_year: HalfYear, *, alarming: bool) -> list[str]:
    """The newest measurements of the access in use: those that call for a look, or those that do not."""
    told = flows_of(half_year.access, half_year.flows) if half_year.access else []
    return [each.words for each in told if bool(each.concern) == alarming]


def _events_words(half_year: HalfYear, kinds: Sequence[EventKind]) -> str:
    told = [f"{kind.label} {half_year.events[kind]}" for kind in kinds if half_year.events.get(kind)]
    return _("Noted this month: %(events)s") % {"events": ", ".join(told)} if told else ""


NOTES: dict[str, Callable[[HalfYear], Iterator[str]]] = {
    "dose": _dose_notes,
    "fluid": _fluid_notes,
    "access": _access_notes,
}
