"""What surrounds the made-up treatments: machines, water tests, supplies, training, and the unit's lists.

Each patient has what the unit asks for, month after month, but for four stories near the end: a culture that is
overdue, supplies that run short, a training that is to be gone through again, and one culture at the action level.
Makers and figures are made up; how often things come round is common practice.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from numpy.random import Generator

from homedialysis.accounts.models import User
from homedialysis.demo.cast import Member
from homedialysis.demo.lives import EVERYBODY
from sessions.facts.choices import Analyte
from sessions.facts.choices_surroundings import MachineKind, TaskKind, WaterFluid, WaterKind, WaterPlace
from sessions.models import (
    BloodsDue,
    Interval,
    Machine,
    Patient,
    SupplyCount,
    SupplyDelivery,
    SupplyItem,
    TaskDone,
    Training,
    WaterTest,
)
from sessions.models.supplies import months_after
from sessions.services import surroundings

DAY = timedelta(days=1)
CULTURES_EVERY, COUNTS_EVERY = 80, 28
LATE_CULTURE, SHORT_OF_COVER, NEAR_THE_LIMIT, TRAINED_AGAIN = 1, 2, 6, 3
"""Places in the cast of those to whom it happens."""
BAGGED = "short, six days, little dialysate"
"""Fluid out of bags: no water treatment at home."""
ROUTINE = (
    Analyte.UREA, Analyte.CREATININE, Analyte.POTASSIUM, Analyte.BICARBONATE, Analyte.CALCIUM, Analyte.PHOSPHATE,
    Analyte.ALBUMIN, Analyte.HAEMOGLOBIN, Analyte.TRANSFERRIN_SATURATION,
)  # fmt: skip
IRON_AND_BONE = (Analyte.FERRITIN, Analyte.PTH)
WATER_SERVICE_EVERY = 350
FIRST_SAMPLES = (1, 29, 57)
TASKS = ((TaskKind.DISINFECTION, 28), (TaskKind.FILTER_CHANGE, 84), (TaskKind.SERVICE, 350))
TASKS_OF_WATER = ((TaskKind.WATER_SERVICE, WATER_SERVICE_EVERY), (TaskKind.CARBON_CHANGE, 350))


def set_up_lists(*, by: User, at: datetime) -> None:
    """The unit's supply list, its panels of bloods, and the intervals that differ from common practice."""
    for name, word, cover in (("Dialysers", "pieces", 14), ("Line sets", "sets", 14), ("Needle pairs", "pairs", 10)):
        surroundings.keep(
            SupplyItem(name=name, unit_word=word, per_treatment=1, cover_days=cover, pack_size=12), by=by, at=at
        )
    for kind, days in (("disinfection", 30), ("supply_count", 30), ("carbon_change", 365)):
        surroundings.keep(Interval(kind=kind, every_days=days), by=by, at=at)
    for name, analytes, weeks in (("Routine bloods", ROUTINE, 6), ("Iron and bone", IRON_AND_BONE, 18)):
        surroundings.keep(BloodsDue(name=name, analytes=list(analytes), every_weeks=weeks), by=by, at=at)


@dataclass(frozen=True, slots=True)
class Home:
    """One patient's home over the months that are made up. by: who notes things there."""

    member: Member
    patient: Patient
    begins: datetime
    until: datetime
    technologist: User
    nurse: User
    rng: Generator

    def furnish(self) -> None:
        """Everything, each noted at its own moment."""
        self._machines()
        for entry, at in (*self._water(), *self._tasks(), *self._supplies(), *self._training()):
            surroundings.note(entry, by=self._noting(entry), at=at)

    def _noting(self, entry: object) -> User:
        if isinstance(entry, SupplyCount) and self.patient.account:
            return self.patient.account
        return self.nurse if isinstance(entry, Training | SupplyDelivery) else self.technologist

    @property
    def _place(self) -> int:
        return EVERYBODY.index(self.member)

    @property
    def _has_water(self) -> bool:
        return self.member.regime.name != BAGGED

    def _machines(self) -> None:
        since, number = self.patient.joined_on, 2041 + 13 * self._place
        own = [Machine(kind=MachineKind.DIALYSIS, name="Larkfield H3", serial=f"LF-{number}")]
        if self._has_water:
            own.append(Machine(kind=MachineKind.WATER, name="Millbrook RO 2", serial=f"MB-{number}"))
        for machine in own:
            machine.patient, machine.since = self.patient, since
            surroundings.keep(machine, by=self.technologist, at=self.begins)

    def _backwards(self, last_ago: float, every: int) -> Iterator[datetime]:
        """From the last time, so many days before the end, back to before everything begins."""
        at = self.until - timedelta(days=last_ago)
        while at > self.begins - every * DAY:
            yield at
            at -= every * DAY

    def _water(self) -> Iterator[tuple[WaterTest, datetime]]:
        if not self._has_water:
            return
        last = 99 if self._place == LATE_CULTURE else 12 + 2 * (self._place % 20)
        regular = list(self._backwards(last, CULTURES_EVERY))
        for turn, at in enumerate(regular):
            high = turn == 0 and self._place == NEAR_THE_LIMIT
            count = 62 if high else int(self.rng.integers(0, 18))
            yield self._test(WaterKind.BACTERIA, count, at), self._answered(at)
            yield self._test(WaterKind.ENDOTOXIN, 0.03, at, below=True), self._answered(at)
        until = self.until - (last if self._place in (LATE_CULTURE, NEAR_THE_LIMIT) else 0) * DAY
        for at in sorted(set(self._first_samples(until)) - set(regular)):
            yield self._test(WaterKind.BACTERIA, int(self.rng.integers(0, 18)), at), self._answered(at)
            yield self._test(WaterKind.ENDOTOXIN, 0.03, at, below=True), self._answered(at)

    def _first_samples(self, until: datetime) -> Iterator[datetime]:
        """Of a new water treatment and after its service, one month after the other."""
        came = datetime.combine(self.patient.joined_on, self.until.timetz())
        starts = {came, *self._care(WATER_SERVICE_EVERY)}
        every = (start + days * DAY for start in starts if start >= came for days in FIRST_SAMPLES)
        yield from (at for at in every if at <= until)

    def _care(self, every: int) -> Iterator[datetime]:
        """When something was done that comes round after so many days: on days of their own in each home."""
        return self._backwards(3 + (7 * self._place + every) % (every - 8), every)

    def _answered(self, sampled_at: datetime) -> datetime:
        """Cultures take a week to grow."""
        return min(sampled_at + 7 * DAY, self.until)

    def _test(self, kind: WaterKind, value: float, at: datetime, *, below: bool = False) -> WaterTest:
        return WaterTest(
            patient=self.patient,
            kind=kind,
            value=value,
            below_detection=below,
            sampled_at=at,
            place=WaterPlace.PRODUCT,
            fluid=WaterFluid.DIALYSIS_WATER,
        )

    def _tasks(self) -> Iterator[tuple[TaskDone, datetime]]:
        tasks = [*TASKS, *TASKS_OF_WATER] if self._has_water else TASKS
        for kind, every in tasks:
            for at in self._care(every):
                yield TaskDone(patient=self.patient, kind=kind, done_at=at), at

    def _supplies(self) -> Iterator[tuple[SupplyCount | SupplyDelivery, datetime]]:
        per_day = self.member.regime.days_per_week / 7
        for item in SupplyItem.objects.all():
            for turn, at in enumerate(self._backwards(4 + self._place % 9, COUNTS_EVERY)):
                short = turn == 0 and self._place == SHORT_OF_COVER and item.name == "Dialysers"
                days = 9 if short else 45 + int(self.rng.integers(0, 12))
                count = round(days * per_day)
                yield SupplyCount(patient=self.patient, item=item, counted_at=at, count=count), at
            if item.name == "Dialysers" and self._place % 2 == 0:
                expected = (self.until + timedelta(days=2 + self._place % 5)).date()
                yield SupplyDelivery(patient=self.patient, item=item, count=24, expected_on=expected), self.until - DAY

    def _training(self) -> Iterator[tuple[Training, datetime]]:
        """Once when home treatment began, and again every year; whoever helps has been trained as well."""
        helper = self.patient.carepartner_set.first()
        for person in (None, helper.user) if helper else (None,):
            overdue = self._place == TRAINED_AGAIN and person is not None
            done_on = self._trained(overdue=overdue)
            yield (
                Training(
                    patient=self.patient,
                    partner=person,
                    topic="Needles, emergencies and hands",
                    done_on=done_on,
                    valid_until=months_after(done_on, 12),
                    trained_by=self.nurse.name,
                ),
                max(self.begins, datetime.combine(done_on, self.begins.timetz())),
            )

    def _trained(self, *, overdue: bool) -> date:
        ago = 372 if overdue else 20 + 11 * (self._place % 25)
        return self.until.date() - ago * DAY
