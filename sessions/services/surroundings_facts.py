"""Gather what due days and stock are worked out from, in a fixed number of queries for any number of patients."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import chain
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import F, Q
from django.utils.translation import gettext as _

from sessions.facts.choices_surroundings import DueKind, WaterKind
from sessions.models import (
    AccessInfection,
    BloodResult,
    BloodsDue,
    Interval,
    Machine,
    Patient,
    Prescription,
    SupplyCount,
    SupplyDelivery,
    SupplyItem,
    TaskDone,
    Training,
    TreatmentRecord,
    UrineCollection,
    WaterRelease,
    WaterTest,
)
from sessions.models.local_time import zones_of
from sessions.services.water_held import Held, held_of

Grades = Callable[[Iterable[WaterTest]], Mapping[uuid.UUID, int]]


@dataclass(frozen=True, slots=True)
class WaterJudge:
    """What grades water, as it stands now. grades: {test id: 0 pass, 1 action, 2 fail}, unknown ones left out;
    failed, known: the rows whose grade is 2, and those that have one at all, for the database to find.
    """

    grades: Grades
    failed: Q
    known: Q


_judges: list[Callable[[], WaterJudge]] = []


def register_judge(judge: Callable[[], WaterJudge]) -> None:
    """Let another package grade water."""
    _judges[:] = [judge]


def _judge() -> WaterJudge:
    """Nothing is known without one."""
    return _judges[0]() if _judges else WaterJudge(lambda tests: {}, Q(pk__in=[]), Q(pk__in=[]))


LOOKS_BACK = timedelta(days=400)
"""Treatments before that are not counted: what was last done or counted before it is overdue anyhow."""
DAY = timedelta(days=1)
MICROBES = (WaterKind.BACTERIA, WaterKind.ENDOTOXIN)
FAIL = 2
"""The grade of a result over its limit, as `register_judge` has it."""


@dataclass(frozen=True, slots=True)
class Dense:
    """Samples of a new water treatment, or after its service: until so many days of sampling in a row were clean.

    usual: nobody has set it.
    """

    tests: int
    days: int
    usual: bool = False

    @property
    def words(self) -> str:
        words = _("new or after service every %(days)s days until %(tests)s in a row are clean")
        said = words % {"days": self.days, "tests": self.tests}
        return _("%(said)s (common practice)") % {"said": said} if self.usual else said


DENSE = Dense(tests=3, days=30, usual=True)
"""Monthly until three or four in a row were clean, then quarterly: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Every:
    """How often something comes round. own: set for this patient; usual: neither patient nor unit has set it.

    after_infection: an infection of the access makes it due also where it is not done regularly.
    """

    days: int | None = None
    treatments: int | None = None
    stopped: bool = False
    own: bool = False
    usual: bool = False
    after_infection: bool = False
    dense: Dense | None = None

    @property
    def words(self) -> str:
        """How often, for people: "every 7 days or 3 treatments"."""
        return f"{self._round}; {self.dense.words}" if self.dense and self.dense.tests else self._round

    @property
    def _round(self) -> str:
        if self.stopped and self.after_infection:
            return _("not regularly, only after an infection of the access")
        if self.stopped:
            return _("not done here")
        parts = [_("%(count)s days") % {"count": self.days}] if self.days else []
        parts += [_("%(count)s treatments") % {"count": self.treatments}] if self.treatments else []
        return _("every %(often)s") % {"often": _(" or ").join(parts)}


USUAL: dict[str, Every] = {
    DueKind.BACTERIA: Every(days=91, usual=True, dense=DENSE),
    DueKind.ENDOTOXIN: Every(days=91, usual=True, dense=DENSE),
    DueKind.DISINFECTION: Every(days=7, usual=True),
    DueKind.FILTER_CHANGE: Every(days=91, usual=True),
    DueKind.SERVICE: Every(days=365, usual=True),
    DueKind.CARBON_CHANGE: Every(days=182, usual=True),
    DueKind.WATER_SERVICE: Every(days=365, usual=True),
    DueKind.SUPPLY_COUNT: Every(days=14, usual=True),
    DueKind.URINE: Every(days=91, usual=True),
    DueKind.ACCESS_EXAM: Every(stopped=True, usual=True, after_infection=True),
}
"""Until the unit sets its own, by its makers' instructions: common practice, no source. Cultures quarterly once
several in a row were clean is common practice too. Urine each quarter: KDOQI 2006, read as quoted by others."""


@dataclass(frozen=True, slots=True)
class Treated:
    """A treatment as supplies and machines see it. used: None where the record does not say what was used."""

    at: datetime
    used: dict[int, float] | None
    disinfected: bool


@dataclass(slots=True)
class SurroundingsFacts:
    """Of one patient, up to the end of `today` where the patient lives.

    machines: in use, by kind; water, done: the newest standing, by kind; treatments: oldest first, since
    `LOOKS_BACK`; drawn: the day of the newest result, by analyte; trainings: the newest of each topic and person
    who still helps; counts: the newest, by item; deliveries: those to come, and those that came since
    `LOOKS_BACK`; per_week: treatments prescribed, None without a prescription; urine: the newest collection;
    beyond: of each kind of water test and place the newest, where it is at the action level (1) or over the limit
    (2); held: the water that is held back; sampled: of each kind of culture the days of sampling since `LOOKS_BACK`,
    and whether all samples of the day were clean; infection: the latest of an access.
    """

    patient: Patient
    today: date
    zone: ZoneInfo
    items: Sequence[SupplyItem]
    intervals: dict[str, Every]
    panels: list[BloodsDue]
    machines: dict[str, Machine] = field(default_factory=dict)
    water: dict[str, WaterTest] = field(default_factory=dict)
    done: dict[str, TaskDone] = field(default_factory=dict)
    treatments: list[Treated] = field(default_factory=list)
    drawn: dict[str, date] = field(default_factory=dict)
    trainings: list[Training] = field(default_factory=list)
    counts: dict[int, SupplyCount] = field(default_factory=dict)
    deliveries: list[SupplyDelivery] = field(default_factory=list)
    per_week: float | None = None
    urine: UrineCollection | None = None
    beyond: list[tuple[WaterTest, int]] = field(default_factory=list)
    held: list[Held] = field(default_factory=list)
    sampled: dict[str, list[tuple[date, bool]]] = field(default_factory=dict)
    infection: AccessInfection | None = None

    def day_of(self, moment: datetime) -> date:
        """The date on the patient's wall."""
        return moment.astimezone(self.zone).date()


def facts_of(patient: Patient, today: date) -> SurroundingsFacts:
    """The facts of one patient."""
    return facts_of_many([patient], today)[0]


def facts_of_many(patients: Sequence[Patient], today: date) -> list[SurroundingsFacts]:
    """The facts of each patient, in the order given."""
    if not patients:
        return []
    zones = zones_of(patients)
    found = {patient.pk: patient for patient in patients}
    items = list(SupplyItem.objects.filter(in_use=True))
    intervals, panels = _intervals(found), _panels(found)
    facts = {
        patient.pk: SurroundingsFacts(
            patient, today, zones[patient.pk], items, intervals[patient.pk], panels[patient.pk]
        )
        for patient in patients
    }
    for add in (
        _machines,
        _water,
        _done,
        _treatments,
        _bloods,
        _trainings,
        _counts,
        _deliveries,
        _prescribed,
        _urine,
        _infections,
    ):
        add(facts)
    return [facts[patient.pk] for patient in patients]


ByPatient = dict[uuid.UUID, SurroundingsFacts]


def _within(facts: ByPatient, moment: str, *, since: bool = False) -> Q:
    """Rows of these patients up to the end of today where each lives, where asked since `LOOKS_BACK`."""
    found = Q(pk__in=[])
    for zone in {own.zone for own in facts.values()}:
        there = [own for own in facts.values() if own.zone == zone]
        end = datetime.combine(there[0].today + DAY, time(), zone)
        own = Q(**{"patient__in": [each.patient for each in there], f"{moment}__lt": end})
        found |= own & Q(**{f"{moment}__gte": end - LOOKS_BACK}) if since else own
    return found


def _intervals(found: dict[uuid.UUID, Patient]) -> dict[uuid.UUID, dict[str, Every]]:
    rows = list(Interval.objects.filter(Q(patient=None) | Q(patient__in=found)))
    every: dict[uuid.UUID, dict[str, Every]] = {key: dict(USUAL) for key in found}
    for row in sorted(rows, key=lambda row: row.patient_id is not None):  # the patient's own come last, and win
        own = row.patient_id is not None
        said = every_of(row)
        for key in [row.patient_id] if own else found:
            every[key][row.kind] = said
    return every


def every_of(row: Interval) -> Every:
    """What one row says."""
    exam = row.kind == DueKind.ACCESS_EXAM
    own = row.patient_id is not None
    return Every(row.every_days, row.every_treatments, row.stopped, own=own, after_infection=exam, dense=_dense_of(row))


def _dense_of(row: Interval) -> Dense | None:
    usual = USUAL[row.kind].dense
    if usual is None or (row.first_tests is None and row.first_days is None):
        return usual
    tests = usual.tests if row.first_tests is None else row.first_tests
    return Dense(tests, usual.days if row.first_days is None else row.first_days)


def _panels(found: dict[uuid.UUID, Patient]) -> dict[uuid.UUID, list[BloodsDue]]:
    rows = list(BloodsDue.objects.filter(Q(patient=None) | Q(patient__in=found)))
    panels: dict[uuid.UUID, dict[str, BloodsDue]] = {key: {} for key in found}
    for row in sorted(rows, key=lambda row: (row.patient_id is not None, row.name)):
        for key in [row.patient_id] if row.patient_id else found:
            panels[key][row.name] = row
    return {key: [row for row in named.values() if not row.stopped] for key, named in panels.items()}


def _machines(facts: ByPatient) -> None:
    for row in Machine.objects.filter(patient__in=facts).order_by("since"):
        own = facts[row.patient_id]
        if row.since <= own.today and (row.until is None or row.until >= own.today):
            own.machines[row.kind] = row


def _water(facts: ByPatient) -> None:
    """The newest of each kind; of each place the newest where it is beyond, for a clean sample elsewhere clears
    nothing; what is held back; and how cultures came out lately.
    """
    judge = _judge()
    tests: defaultdict[uuid.UUID, list[WaterTest]] = defaultdict(list)
    for row in _telling_water(facts, judge):
        row.patient = facts[row.patient_id].patient
        tests[row.patient_id].append(row)
    grades = judge.grades(chain.from_iterable(tests.values()))
    released = _released(facts)
    for key, rows in tests.items():
        own = facts[key]
        own.water = {row.kind: row for row in rows}
        newest = sorted(_of_places(rows), key=lambda row: row.sampled_at)
        own.beyond = [(row, grades[row.pk]) for row in newest if grades.get(row.pk, 0) > 0]
        failed = _of_places(row for row in rows if grades.get(row.pk) == FAIL)
        known = _of_places(row for row in rows if row.pk in grades)
        own.held = held_of(failed, known, released[key], own.zone)
        own.sampled = _sampled(own, rows, grades)


def _of_places(rows: Iterable[WaterTest]) -> list[WaterTest]:
    """Of each kind and place the newest of rows that come in order of sampling."""
    return list({(row.kind, row.place): row for row in rows}.values())


def _telling_water(facts: ByPatient, judge: WaterJudge) -> Iterable[WaterTest]:
    """In order of sampling, the tests that can say anything today, however many there are: of each kind and place the
    newest, the newest over its limit and the newest whose grade is known; and the cultures since `LOOKS_BACK`.
    """
    standing = WaterTest.objects.standing().filter(_within(facts, "sampled_at"))
    place = ("patient_id", "kind", "place")
    in_order = standing.order_by(*place, "-sampled_at", "-entered_at").distinct(*place)
    wanted = Q(kind__in=MICROBES) & _within(facts, "sampled_at", since=True)
    for chosen in (Q(), judge.failed, judge.known):
        wanted |= Q(pk__in=in_order.filter(chosen).values("pk"))
    return standing.filter(wanted).order_by("sampled_at", "entered_at")


def _sampled(
    own: SurroundingsFacts, rows: Iterable[WaterTest], grades: Mapping[uuid.UUID, int]
) -> dict[str, list[tuple[date, bool]]]:
    """By kind of culture the days of sampling since `LOOKS_BACK`, and whether every sample of the day was clean."""
    days: defaultdict[str, dict[date, bool]] = defaultdict(dict)
    for row in rows:
        day = own.day_of(row.sampled_at)
        if row.kind in MICROBES and day > own.today - LOOKS_BACK:
            days[row.kind][day] = days[row.kind].get(day, True) and grades.get(row.pk) == 0
    return {kind: list(found.items()) for kind, found in days.items()}


def _released(facts: ByPatient) -> defaultdict[uuid.UUID, set[uuid.UUID]]:
    """The tests after which somebody has released the water."""
    found: defaultdict[uuid.UUID, set[uuid.UUID]] = defaultdict(set)
    rows = WaterRelease.objects.filter(_within(facts, "released_at"))
    for patient_id, tests in rows.values_list("patient_id", "tests"):
        found[patient_id] |= {uuid.UUID(each) for each in tests}
    return found


def _infections(facts: ByPatient) -> None:
    rows = AccessInfection.objects.standing().filter(access__patient__in=facts).select_related("access")
    for row in rows.order_by("began_on"):
        own = facts[row.access.patient_id]
        if own.today - LOOKS_BACK <= row.began_on <= own.today:
            own.infection = row


def _urine(facts: ByPatient) -> None:
    rows = UrineCollection.objects.filter(_within(facts, "ended_at"))
    for row in rows.order_by("patient_id", "-ended_at").distinct("patient_id"):
        facts[row.patient_id].urine = row


def _done(facts: ByPatient) -> None:
    rows = TaskDone.objects.standing().filter(_within(facts, "done_at"))
    for row in rows.order_by("patient_id", "kind", "-done_at").distinct("patient_id", "kind"):
        facts[row.patient_id].done[row.kind] = row


def _treatments(facts: ByPatient) -> None:
    rows = TreatmentRecord.objects.filter(_within(facts, "started_at", since=True)).order_by("started_at")
    said = rows.values_list("patient_id", "started_at", "document__used_stock", "document__disinfected")
    for key, started_at, used, disinfected in said:
        facts[key].treatments.append(Treated(started_at, _used(used), disinfected is True))


def _used(noted: Any) -> dict[int, float] | None:
    """Pieces by item, out of the record's own list."""
    if not noted:
        return None
    used: dict[int, float] = defaultdict(float)
    for row in noted:
        used[int(row["item"])] += float(row["count"] or 0)
    return dict(used)


def _bloods(facts: ByPatient) -> None:
    rows = BloodResult.with_bounds.filter(_within(facts, "drawn_at"))
    for row in rows.order_by("patient_id", "analyte", "-drawn_at").distinct("patient_id", "analyte"):
        facts[row.patient_id].drawn[row.analyte] = facts[row.patient_id].day_of(row.drawn_at)


def _trainings(facts: ByPatient) -> None:
    helping = Q(partner=None) | Q(partner__cares_for__patient=F("patient"), partner__cares_for__ended_at=None)
    today = next(own.today for own in facts.values())
    rows = Training.objects.standing().filter(helping, patient__in=facts, done_on__lte=today)
    newest = rows.order_by("patient_id", "topic", "partner_id", "-done_on").distinct(
        "patient_id", "topic", "partner_id"
    )
    for row in newest.select_related("partner"):
        row.patient = facts[row.patient_id].patient
        facts[row.patient_id].trainings.append(row)


def _counts(facts: ByPatient) -> None:
    rows = SupplyCount.objects.standing().filter(_within(facts, "counted_at"))
    for row in rows.order_by("patient_id", "item_id", "-counted_at", "-entered_at").distinct("patient_id", "item_id"):
        facts[row.patient_id].counts[row.item_id] = row


def _deliveries(facts: ByPatient) -> None:
    rows = SupplyDelivery.objects.standing().filter(patient__in=facts).select_related("item")
    lately = rows.filter(Q(arrived_at=None) | _within(facts, "arrived_at", since=True))
    for row in lately.order_by("expected_on", "arrived_at"):
        facts[row.patient_id].deliveries.append(row)


def _prescribed(facts: ByPatient) -> None:
    rows = Prescription.objects.filter(_within(facts, "in_force__startswith"))
    newest = rows.order_by("patient_id", "-version").distinct("patient_id")
    for row in newest.only("patient_id", "in_force", "days_per_week"):
        own, ends = facts[row.patient_id], row.in_force.upper
        if ends is None or own.day_of(ends) >= own.today:
            own.per_week = row.days_per_week
