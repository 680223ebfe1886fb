"""The charts of a patient: what each shows, which limits hold, and which of its points lie outside them.

Said once for the two drawings: large on the patient's page (`plotly_figures`), small in the picture (`courses`).
A point is outside by the limit that held on its own night; a chart is no alert, which rules may ask for more than one.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django_stubs_ext import StrOrPromise

from alerts.limits.book import LimitBook, LimitInForce, low_limit_name
from alerts.rules.dose import SINGLE_POOL_NUMBERS, WEEKLY_NUMBERS
from alerts.rules.fluid import allowed_off_target
from dosing.science.guidance import GuidedSchedule, schedule_of
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.treatments import ComputedNight
from dosing.services.numbers.blood_units import spoken_of, three_figures
from sessions.facts.choices import Analyte, SampleTiming
from sessions.facts.fields import WEIGHT
from sessions.facts.local_number import decimals
from sessions.models import BloodResult

FIRST, SECOND, THIRD, FOURTH = "first", "second", "third", "fourth"


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """One treatment or drawing. value: in the reader's unit, None where it is unknown; words: the figure with its unit;
    outside: by which limit, "" inside it.
    """

    at: datetime
    day: date
    value: float | None
    words: str = ""
    outside: str = ""


@dataclass(frozen=True, slots=True)
class ChartSeries:
    """look: how it is told from the others; small: whether the small chart has it too; below: in a lane of its own,
    with the unit of that lane.
    """

    name: str
    look: str
    points: Sequence[ChartPoint]
    small: bool = True
    below: str = ""


@dataclass(frozen=True, slots=True)
class ChartLevel:
    """What the points are held against, as it held from treatment to treatment. said: the newest in words, "" of what
    stands in the prescription.
    """

    name: str
    points: Sequence[ChartPoint]
    said: str = ""


@dataclass(frozen=True, slots=True)
class PatientChart:
    """key: of its address on a page; places: of its figures; small: whether the picture has it."""

    key: str
    title: str
    unit: str
    places: int
    series: Sequence[ChartSeries]
    levels: Sequence[ChartLevel] = ()
    small: bool = True

    @property
    def head(self) -> str:
        """Title and unit."""
        return f"{self.title}, {self.unit}" if self.unit else self.title

    @property
    def outside(self) -> int:
        """How many points lie outside."""
        return sum(bool(point.outside) for each in self.series for point in each.points)

    @property
    def limits(self) -> list[str]:
        return [level.said for level in self.levels if level.said]


class Holds(NamedTuple):
    """A limit and on which side of it a value is outside."""

    limit: LimitInForce
    over: bool


def charts_of_patient(
    nights: Sequence[ComputedNight], *, dosed: Sequence[ComputedNight], bloods: Sequence[BloodResult], book: LimitBook
) -> list[PatientChart]:
    """Every chart that has something to show. nights: of the charts of treatments, ended ones are drawn; dosed: those
    among which the doses are looked for; bloods: in any order.
    """
    nights = [night for night in nights if night.record.ended_at]
    dosed = [night for night in dosed if night.record.ended_at]
    drawn = (
        _weight(nights, book),
        _pressure(nights, book),
        _length(nights, book),
        *_doses(dosed, book),
        *(_blood(analyte, bloods, book) for analyte in BLOODS),
        _rate(nights, book),
        _line_pressures(nights, book),
    )
    return [chart for chart in drawn if any(point.value is not None for each in chart.series for point in each.points)]


def _points(
    nights: Sequence[ComputedNight],
    value: Callable[[ComputedNight], float | None],
    unit: str,
    places: int,
    outside: Callable[[ComputedNight], str] = lambda night: "",
) -> list[ChartPoint]:
    found = []
    for night in nights:
        number = value(night)
        words = "" if number is None else f"{decimals(number, places)} {unit}".strip()
        beyond = "" if number is None else outside(night)
        found.append(ChartPoint(night.record.started_at, night.record.night, number, words, beyond))
    return found


def _beyond(value: float | None, holds: Iterable[Holds]) -> str:
    """In words, by which of the limits a value is outside."""
    for limit, over in holds:
        if value is not None and (value > limit.value if over else value < limit.value):
            return (_("over the limit of %(limit)s") if over else _("under the limit of %(limit)s")) % {
                "limit": limit.words
            }
    return ""


def _level(
    name: StrOrPromise, nights: Sequence[ComputedNight], limit: Callable[[ComputedNight], LimitInForce]
) -> ChartLevel:
    held = [limit(night) for night in nights]
    points = [
        ChartPoint(night.record.started_at, night.record.night, each.kind.as_read(each.value))
        for night, each in zip(nights, held, strict=True)
    ]
    return ChartLevel(str(name), points, _said(held[-1]) if held else "")


def _said(limit: LimitInForce) -> str:
    return f"{limit.kind.label} {limit.words}"


def _of_book(book: LimitBook, name: str) -> Callable[[ComputedNight], LimitInForce]:
    return lambda night: book.at(name, night.record.started_at, night.prescription)


def _noted(name: str) -> Callable[[ComputedNight], float | None]:
    return lambda night: getattr(night.record, name)


def _ordered(name: str) -> Callable[[ComputedNight], float | None]:
    return lambda night: getattr(night.prescription, name) if night.prescription else None


def _judged(
    value: Callable[[ComputedNight], float | None], *limits: tuple[Callable[[ComputedNight], LimitInForce], bool]
) -> Callable[[ComputedNight], str]:
    return lambda night: _beyond(value(night), (Holds(limit(night), over) for limit, over in limits))


def _weight(nights: Sequence[ComputedNight], book: LimitBook) -> PatientChart:
    told = WEIGHT.told
    after, target = _noted("post_weight_kg"), _ordered("target_weight_kg")

    def in_unit(value: Callable[[ComputedNight], float | None]) -> Callable[[ComputedNight], float | None]:
        def read(night: ComputedNight) -> float | None:
            kept = value(night)
            return None if kept is None else told.of(kept)

        return read

    def off(night: ComputedNight) -> str:
        by, wanted = night.value("off_target"), target(night)
        if by is None or wanted is None:
            return ""
        in_kg, percent = (_of_book(book, name)(night).value for name in ("off_target_kg", "off_target_percent"))
        allowed = allowed_off_target(in_kg, percent, wanted)
        if abs(round(by, NIGHT_NUMBERS["off_target"].decimals)) <= allowed:
            return ""
        words = _("%(by)s over target, limit %(limit)s") if by > 0 else _("%(by)s under target, limit %(limit)s")
        unit, change = told.unit, told.change
        return words % {
            "by": f"{decimals(abs(change(by)), 1)} {unit}",
            "limit": f"{decimals(change(allowed), 1)} {unit}",
        }

    return PatientChart(
        "weight",
        _("Weight and target"),
        told.unit,
        1,
        [
            ChartSeries(_("before"), SECOND, _points(nights, in_unit(_noted("pre_weight_kg")), told.unit, 1)),
            ChartSeries(_("after"), FIRST, _points(nights, in_unit(after), told.unit, 1, off)),
        ],
        [ChartLevel(_("target"), _points(nights, in_unit(target), told.unit, 1))],
    )


def _pressure(nights: Sequence[ComputedNight], book: LimitBook) -> PatientChart:
    before, after = _noted("pre_systolic"), _noted("post_systolic")
    high, high_after = _of_book(book, "systolic_high"), _of_book(book, "systolic_high_after")

    def lowest(night: ComputedNight) -> float | None:
        return night.value("lowest_systolic")

    def low(night: ComputedNight) -> LimitInForce:
        return book.at(low_limit_name(before(night)), night.record.started_at, night.prescription)

    def points(
        value: Callable[[ComputedNight], float | None], outside: Callable[[ComputedNight], str]
    ) -> list[ChartPoint]:
        return _points(nights, value, "mmHg", 0, outside)

    diastolic, high_diastolic = _noted("pre_diastolic"), _of_book(book, "diastolic_high")
    return PatientChart(
        "blood-pressure",
        _("Systolic pressure"),
        "mmHg",
        0,
        [
            ChartSeries(_("before"), SECOND, points(before, _judged(before, (high, True)))),
            ChartSeries(_("after"), FIRST, points(after, _judged(after, (high_after, True)))),
            ChartSeries(_("lowest"), THIRD, points(lowest, _judged(lowest, (low, False)))),
            ChartSeries(
                _("diastolic before"),
                FOURTH,
                points(diastolic, _judged(diastolic, (high_diastolic, True))),
                small=False,
                below="mmHg",
            ),
        ],
        [
            _level(_("most before"), nights, high),
            _level(_("most after"), nights, high_after),
            _level(_("least"), nights, low),
        ],
    )


def _length(nights: Sequence[ComputedNight], book: LimitBook) -> PatientChart:
    def hours(name: str, of: Callable[[str], Callable[[ComputedNight], float | None]]) -> Callable[..., float | None]:
        def read(night: ComputedNight) -> float | None:
            minutes = of(name)(night)
            return None if minutes is None else minutes / 60

        return read

    def short(night: ComputedNight) -> str:
        share, limit = night.value("delivered"), _of_book(book, "delivered")(night)
        if share is None or round(100 * share) >= limit.value:
            return ""
        return _("%(share)s %% of what is prescribed, limit %(limit)s") % {
            "share": decimals(100 * share, 0),
            "limit": limit.words,
        }

    return PatientChart(
        "length",
        _("Length of the treatments"),
        "h",
        1,
        [ChartSeries(_("done"), FIRST, _points(nights, hours("minutes", _noted), "h", 2, short))],
        [ChartLevel(_("prescribed"), _points(nights, hours("minutes", _ordered), "h", 2))],
    )


class DoseChart(NamedTuple):
    """Which doses are drawn of whom: numbers: the first that is known; limit: that of the rule."""

    key: str
    schedule: GuidedSchedule
    numbers: tuple[str, ...]
    limit: str


DOSES = (
    DoseChart("single-pool", GuidedSchedule.THREE_A_WEEK, SINGLE_POOL_NUMBERS, "single_pool_ktv"),
    DoseChart("weekly-dose", GuidedSchedule.OTHER, WEEKLY_NUMBERS, "weekly_ktv"),
)


def _doses(nights: Sequence[ComputedNight], book: LimitBook) -> Iterator[PatientChart]:
    """Each treatment by the number by which guidance judges its schedule."""
    for chart in DOSES:
        mine = [(night, key) for night in nights if (key := _known_dose(night, chart))]
        number = NIGHT_NUMBERS[chart.numbers[0]]
        unit = number.unit if number.unit != "1" else ""
        values = {night.record.pk: night.value(key) for night, key in mine}
        those = [night for night, _key in mine]

        def value(night: ComputedNight, values: dict[uuid.UUID, float | None] = values) -> float | None:
            return values[night.record.pk]

        limit = _of_book(book, chart.limit)
        points = _points(those, value, unit, 2, _judged(value, (limit, False)))
        yield PatientChart(
            chart.key,
            str(number.label),
            unit,
            2,
            [ChartSeries(_("dose"), FIRST, points)],
            [_level(_("least"), those, limit)],
        )


def _known_dose(night: ComputedNight, chart: DoseChart) -> str:
    """The number that is drawn of a night, "" where it is none of this chart's."""
    ordered = night.prescription
    if schedule_of(ordered.days_per_week if ordered else None, night.value("kidney")) != chart.schedule:
        return ""
    return next((key for key in chart.numbers if night.value(key) is not None), "")


class LimitsOfAnalyte(NamedTuple):
    """The limits of an analyte, as the rules ask for them."""

    analyte: Analyte
    low: str
    high: str


BLOODS = (
    LimitsOfAnalyte(Analyte.POTASSIUM, "potassium_low", "potassium_high"),
    LimitsOfAnalyte(Analyte.PHOSPHATE, "phosphate_low", "phosphate_high"),
    LimitsOfAnalyte(Analyte.HAEMOGLOBIN, "haemoglobin_low", "haemoglobin_high"),
)


def _blood(chart: LimitsOfAnalyte, bloods: Sequence[BloodResult], book: LimitBook) -> PatientChart:
    """Before a treatment or apart from one, as the rules judge it."""
    shown = spoken_of(chart.analyte.value)
    rows = [row for row in bloods if row.analyte == chart.analyte and row.timing != SampleTiming.POST]
    rows.sort(key=lambda row: row.drawn_at)

    def level(name: str, limit: str) -> ChartLevel:
        held = [book.at(limit, row.drawn_at) for row in rows]
        points = [
            ChartPoint(row.drawn_at, _day(row), each.kind.as_read(each.value))
            for row, each in zip(rows, held, strict=True)
        ]
        return ChartLevel(name, points, _said(held[-1]) if held else "")

    return PatientChart(
        f"blood-{chart.analyte.name.lower()}",
        shown.label,
        shown.unit,
        1,
        [ChartSeries(_("result"), FIRST, [_drawn(row, chart, book) for row in rows])],
        [level(_("most"), chart.high), level(_("least"), chart.low)],
    )


def _drawn(row: BloodResult, chart: LimitsOfAnalyte, book: LimitBook) -> ChartPoint:
    shown = spoken_of(row.analyte)
    holds = (Holds(book.at(name, row.drawn_at), over) for name, over in ((chart.low, False), (chart.high, True)))
    value = shown.from_canonical(row.value)
    return ChartPoint(row.drawn_at, _day(row), value, f"{three_figures(value)} {shown.unit}", _beyond(row.value, holds))


def _day(row: BloodResult) -> date:
    return timezone.localtime(row.drawn_at).date()


def _rate(nights: Sequence[ComputedNight], book: LimitBook) -> PatientChart:
    def rate(night: ComputedNight) -> float | None:
        return night.value("uf_rate")

    def shown(night: ComputedNight) -> float | None:
        value = rate(night)
        return None if value is None else round(value, NIGHT_NUMBERS["uf_rate"].decimals)

    limit = _of_book(book, "uf_rate")
    by_weight = NIGHT_NUMBERS["uf_rate_by_weight"]
    return PatientChart(
        "uf-rate",
        _("UF rate on weight after"),
        "mL/kg/h",
        1,
        [
            ChartSeries(
                NIGHT_NUMBERS["uf_rate"].short,
                FIRST,
                _points(nights, rate, "mL/kg/h", 1, _judged(shown, (limit, True))),
            ),
            ChartSeries(
                by_weight.short, THIRD, _points(nights, lambda night: night.value(by_weight.key), "mL/kg/h", 1)
            ),
        ],
        [_level(_("most"), nights, limit)],
        small=False,
    )


def _line_pressures(nights: Sequence[ComputedNight], book: LimitBook) -> PatientChart:
    def of(key: str) -> Callable[[ComputedNight], float | None]:
        return lambda night: night.value(key)

    venous, arterial, flow = of("venous_median"), of("arterial_median"), of("blood_flow_median")
    highest, least, lowest = (_of_book(book, name) for name in ("venous_high", "venous_low", "arterial_low"))
    return PatientChart(
        "line-pressures",
        _("Venous and arterial pressure at treatment flow, middle of the readings"),
        "mmHg",
        0,
        [
            ChartSeries(
                NIGHT_NUMBERS["venous_median"].short,
                FIRST,
                _points(nights, venous, "mmHg", 0, _judged(venous, (highest, True), (least, False))),
            ),
            ChartSeries(
                NIGHT_NUMBERS["arterial_median"].short,
                SECOND,
                _points(nights, arterial, "mmHg", 0, _judged(arterial, (lowest, False))),
            ),
            ChartSeries(
                NIGHT_NUMBERS["blood_flow_median"].short, THIRD, _points(nights, flow, "mL/min", 0), below="mL/min"
            ),
        ],
        [
            _level(_("venous at most"), nights, highest),
            _level(_("venous at least"), nights, least),
            _level(_("arterial not below"), nights, lowest),
        ],
        small=False,
    )


OUTSIDE = gettext_lazy("outside its limit")
