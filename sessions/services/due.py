"""What is due around a patient's treatment, and when.

Offered to the phone's kit, to pages and to the rules of alerts: `due_for(patient, today)` answers a list of `Due`,
the earliest first, out of a fixed number of queries; `due_of(facts)` the same for facts gathered for many patients
at once. A rule that calls people to account asks for `overdue` ones by their kind:

- "bacteria", "endotoxin": a water sample, while a water treatment stands at home;
- "disinfection", "filter_change", "service", "carbon_change", "water_service": care of a machine that is at home;
- "supply_count": the unit's list wants counting; "delivery": supplies that should have come;
- "urine": a collection, while the last one had urine in it, or fewer than three treatments a week are prescribed;
- "bloods": a panel to draw; "training": a topic to go through again;
- "resample", "release": after a water test that was beyond: another sample, and a person who releases the water.

A chlorine test before each treatment is a check of that treatment, no due item.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from homedialysis.accounts.services.dates import short_day
from sessions.facts.choices import AccessKind, Analyte
from sessions.facts.choices_surroundings import MACHINE_OF_TASK, DueKind, MachineKind, TaskKind, WaterKind, WaterPlace
from sessions.models import BloodsDue, Patient, Training
from sessions.services.surroundings_facts import LOOKS_BACK, MICROBES, Every, SurroundingsFacts, facts_of
from sessions.texts.ready import words_of

AHEAD = 7
"""Days before it is due that something is told of."""
DAY = timedelta(days=1)
FULL_WEEK = 3
"""Treatments a week; who is prescribed fewer counts on what the kidneys still do."""
LEAST_URINE_ML_DAY = 100
"""[mL/d] From this on somebody is taken to have residual function: KDOQI, from memory, source not opened."""
FIRST_WITHIN = 28
"""[d] After joining, within which what comes round is done for the first time: with the first month's bloods (common
practice, no source)."""
Said = tuple[str, Mapping[str, Any]]
OF_NAMED = {"bloods": _("Bloods: %(panel)s"), "training": _("Training: %(topic)s"), "delivery": _("Delivery: %(item)s")}
"""Kinds of which there are several, each with a name of its own."""
AGAIN = _("Sample again: %(test)s, %(place)s")
RELEASE = _("Release of the water by the unit")
LAST_TIME = {
    "last": _("Last on %(day)s."),
    "never": _("Not noted so far."),
    "none_since": _("None yet since %(machine)s came."),
    "never_counted": _("Never counted: %(items)s."),
    "no_result": _("No result yet of %(results)s."),
    "coming": _("%(count)s %(unit)s."),
    "infection": _("The access was infected from %(day)s on."),
    "beyond": _("The sample of %(day)s was beyond."),
    "service": _("Not sampled since the service on %(day)s."),
    "dense": _("Last on %(day)s; since %(since)s %(clean)s of %(tests)s in a row were clean."),
    "passed": _("Sampled again on %(day)s, within the limit."),
}
"""What is known of the last time, by code; days are kept as ISO 8601, results as codes of `Analyte`."""


@dataclass(frozen=True, slots=True)
class Due:
    """One thing to do. of: which of its kind, as it was named: the panel, the topic, the item; "" where the kind says
    it. said: a code of `LAST_TIME` and what goes into its words; form: the phone's form that notes it as done, None
    where the phone has none; id: what that form needs besides, as text: the kind of test or task, or the delivery's id.
    """

    kind: str
    due_on: date
    overdue: bool
    of: str = ""
    said: Said = ("never", {})
    form: str | None = None
    id: str | None = None

    @property
    def label(self) -> str:
        """What is due, in the language of the reader."""
        return label_of(self.kind, self.of)

    @property
    def words(self) -> str:
        """What is known of the last time, in the language of the reader."""
        return last_time(*self.said)

    def as_json(self) -> dict[str, Any]:
        """As the key "due" of the phone's kit holds it."""
        return {
            "kind": self.kind,
            "label": self.label,
            "due_on": self.due_on.isoformat(),
            "overdue": self.overdue,
            "words": self.words,
            "form": self.form,
            "id": self.id,
        }


def label_of(kind: str, of: str) -> str:
    """What is due, in the language of the reader; kind, of: as in `Due`."""
    if kind in OF_NAMED:
        return gettext(OF_NAMED[kind]) % {"panel": of, "topic": words_of(of), "item": of}
    if kind == "retraining":
        return words_of(Training.CATHETER_CARE if of == AccessKind.CATHETER else Training.ACCESS_CARE)
    if kind == "release":
        return gettext(RELEASE)
    if kind == "resample":
        test, _colon, place = of.partition(":")
        return gettext(AGAIN) % {"test": WaterKind(test).label, "place": WaterPlace(place).label}
    return str(DueKind(kind).label)


def last_time(code: str, parts: Mapping[str, Any]) -> str:
    """What is known of the last time, in the language of the reader; code: of `LAST_TIME`, parts: as kept in `Due`."""
    given = dict(parts)
    for name in given.keys() & {"day", "since"}:
        given[name] = short_day(date.fromisoformat(given[name]))
    if "results" in given:
        given["results"] = ", ".join(str(Analyte(each).label) for each in given["results"])
    words = gettext(LAST_TIME[code]) % given
    return f"{given['who']}. {words}" if "who" in given else words


def due_for(patient: Patient, today: date, *, ahead: int = AHEAD) -> list[Due]:
    """What is due until `ahead` days after `today`, a date where the patient lives."""
    return due_of(facts_of(patient, today), ahead=ahead)


def due_of(facts: SurroundingsFacts, *, ahead: int = AHEAD) -> list[Due]:
    """The same out of facts that are gathered already."""
    parts = (
        *(_water(facts), _tasks(facts), _count(facts), _urine(facts)),
        *(_bloods(facts), _trainings(facts), _deliveries(facts), _examinations(facts), _after_infection(facts)),
        *(_resamples(facts), _disinfection(facts), _release(facts)),
    )
    found = sorted(
        (each for part in parts for each in part if each.due_on <= facts.today + ahead * DAY),
        key=lambda each: (each.due_on, each.label),
    )
    disinfection = next((each for each in found if each.kind == DueKind.DISINFECTION), None)
    return [each for each in found if each.kind != DueKind.DISINFECTION or each is disinfection]


def _due(facts: SurroundingsFacts, kind: str, due_on: date, said: Said, **more: str) -> Due:
    return Due(kind, due_on, due_on < facts.today, more.get("of", ""), said, more.get("form"), more.get("id"))


def _last(when: date | None) -> Said:
    return ("last", {"day": when.isoformat()}) if when else ("never", {})


def _water(facts: SurroundingsFacts) -> Iterator[Due]:
    """Samples of water, from the day on which a water treatment came to the home; denser until it has proved clean."""
    machine = facts.machines.get(MachineKind.WATER)
    if machine is None:
        return
    for kind in (DueKind.BACTERIA, DueKind.ENDOTOXIN):
        every = facts.intervals[kind]
        if every.stopped or every.days is None:
            continue
        test = facts.water.get(kind)
        last = facts.day_of(test.sampled_at) if test else None
        serviced = facts.done.get(DueKind.WATER_SERVICE)
        service = facts.day_of(serviced.done_at) if serviced else machine.since
        if last is not None and machine.since <= last < service:
            yield _due(facts, kind, service, ("service", {"day": service.isoformat()}), form="water", id=kind)
        elif last is not None and last >= machine.since:
            days, said = _next_sample(facts, kind, last, since=max(service, machine.since))
            yield _due(facts, kind, last + days * DAY, said, form="water", id=kind)
        else:
            said = ("none_since", {"machine": machine.name})
            yield _due(facts, kind, machine.since, said, form="water", id=kind)


def _next_sample(facts: SurroundingsFacts, kind: DueKind, last: date, *, since: date) -> tuple[int, Said]:
    """After how many days the next is due, and what is known of the last.

    since: when the water treatment came or was serviced. What came longer ago than is looked back is not new, however
    few samples are known here.
    """
    every = facts.intervals[kind]
    assert every.days is not None  # whoever asks has looked
    dense = every.dense
    clean = _clean_in_a_row([clean for day, clean in facts.sampled.get(kind, []) if day >= since])
    if dense is None or since < facts.today - LOOKS_BACK or clean >= dense.tests:
        return every.days, _last(last)
    parts = {"day": last.isoformat(), "since": since.isoformat(), "clean": clean, "tests": dense.tests}
    return min(every.days, dense.days), ("dense", parts)


def _clean_in_a_row(days: Sequence[bool]) -> int:
    """How many of the newest days of sampling were clean, up to the newest that was not.

    >>> _clean_in_a_row([True, False, True, True]), _clean_in_a_row([True, False]), _clean_in_a_row([])
    (2, 0, 0)
    """
    return len(days) if all(days) else list(reversed(days)).index(False)


def _tasks(facts: SurroundingsFacts) -> Iterator[Due]:
    """Care of the machines at home, counted from when it was last done or the machine came."""
    for kind in MACHINE_OF_TASK:
        machine, every = facts.machines.get(MACHINE_OF_TASK[kind]), facts.intervals[kind]
        if machine is None or every.stopped:
            continue
        last = _last_done(facts, kind)
        done_on = facts.day_of(last) if last else None
        since = max(machine.since, done_on) if done_on else machine.since
        due_on = _due_on(facts, every, since, last)
        if due_on is not None:
            yield _due(facts, kind, due_on, _last(done_on), form="done", id=kind)


def _last_done(facts: SurroundingsFacts, kind: TaskKind) -> datetime | None:
    """When it was last done: as noted, or as the record of a treatment says of the disinfection after it."""
    noted = [facts.done[kind].done_at] if kind in facts.done else []
    if kind == TaskKind.DISINFECTION:
        noted += [each.at for each in facts.treatments if each.disinfected]
    return max(noted, default=None)


def _due_on(facts: SurroundingsFacts, every: Every, since: date, last: datetime | None) -> date | None:
    """By days, by treatments, or whichever comes first."""
    days = [] if every.days is None else [since + every.days * DAY]
    if every.treatments is not None:
        after = [each.at for each in facts.treatments if _is_after(facts, each.at, since, last)]
        if len(after) >= every.treatments:
            days.append(facts.day_of(after[every.treatments - 1]))
        elif facts.per_week:
            left = every.treatments - len(after)
            days.append(facts.today + math.ceil(left * 7 / facts.per_week) * DAY)
    return min(days, default=None)


def _is_after(facts: SurroundingsFacts, at: datetime, since: date, last: datetime | None) -> bool:
    """Whether a treatment counts: it came after the task was last done, and on this machine."""
    return facts.day_of(at) >= since and (last is None or at > last)


def _count(facts: SurroundingsFacts) -> Iterator[Due]:
    """Counting the supplies: due when the item counted longest ago is, at once where one never was."""
    every, items = facts.intervals[DueKind.SUPPLY_COUNT], facts.items
    if every.stopped or every.days is None or not items:
        return
    counted = [facts.day_of(facts.counts[item.pk].counted_at) for item in items if item.pk in facts.counts]
    never = [item.name for item in items if item.pk not in facts.counts]
    if never:
        said = ("never_counted", {"items": ", ".join(never)})
        yield _due(facts, DueKind.SUPPLY_COUNT, facts.today, said, form="count")
    else:
        last = min(counted)
        yield _due(facts, DueKind.SUPPLY_COUNT, last + every.days * DAY, _last(last), form="count")


def _urine(facts: SurroundingsFacts) -> Iterator[Due]:
    """A urine collection, so long as there is urine to collect.

    The first is due after joining where fewer than three treatments a week count on the kidneys.
    """
    every, last = facts.intervals[DueKind.URINE], facts.urine
    if every.stopped or every.days is None:
        return
    if last is None:
        if facts.per_week is not None and facts.per_week < FULL_WEEK:
            yield _due(facts, DueKind.URINE, _first_due(facts, every.days), _last(None))
    elif last.volume_ml * 1440 / last.minutes >= LEAST_URINE_ML_DAY:
        ended = facts.day_of(last.ended_at)
        yield _due(facts, DueKind.URINE, ended + every.days * DAY, _last(ended))


def _bloods(facts: SurroundingsFacts) -> Iterator[Due]:
    """Panels to draw: as old as the oldest result in them; one that was never there is due after joining."""
    for panel in facts.panels:
        if panel.every_weeks and panel.analytes:
            yield _panel_due(facts, panel, days=7 * panel.every_weeks)


def _panel_due(facts: SurroundingsFacts, panel: BloodsDue, *, days: int) -> Due:
    """By the result that falls due first, whether it is an old one or one that never was."""
    known = [facts.drawn[each] for each in panel.analytes if each in facts.drawn]
    missing = [each for each in panel.analytes if each not in facts.drawn]
    again = min(known) + days * DAY if known else None
    first = _first_due(facts, days) if missing else None
    if again is not None and (first is None or again < first):
        return _due(facts, "bloods", again, _last(min(known)), of=panel.name)
    assert first is not None  # a panel has at least one result
    return _due(facts, "bloods", first, ("no_result", {"results": missing}), of=panel.name)


def _first_due(facts: SurroundingsFacts, days: int) -> date:
    """When what comes round every so many days and was never done is due: a day that stands, so that it can pass.

    Counted from joining, or from the first treatment that is recorded here: what was done before is not known here.
    """
    first = facts.day_of(facts.treatments[0].at) if facts.treatments else facts.patient.joined_on
    return max(facts.patient.joined_on, first) + min(days, FIRST_WITHIN) * DAY


def _trainings(facts: SurroundingsFacts) -> Iterator[Due]:
    for each in facts.trainings:
        if each.valid_until is not None:
            said = ("last", {"who": each.who, "day": each.done_on.isoformat()})
            yield _due(facts, "training", each.valid_until, said, of=each.topic)


def _examinations(facts: SurroundingsFacts) -> Iterator[Due]:
    """The regular look at the access by the unit, where it has said how often."""
    every, done = facts.intervals[DueKind.ACCESS_EXAM], facts.done.get(DueKind.ACCESS_EXAM)
    if every.stopped or every.days is None:
        return
    last = facts.day_of(done.done_at) if done else None
    due_on = last + every.days * DAY if last else _first_due(facts, every.days)
    yield _due(facts, DueKind.ACCESS_EXAM, due_on, _last(last))


def _after_infection(facts: SurroundingsFacts) -> Iterator[Due]:
    """An infected access is examined by the unit, and needling and care of it are gone through again."""
    if facts.infection is None:
        return
    began = facts.infection.began_on
    said = ("infection", {"day": began.isoformat()})
    done, every = facts.done.get(DueKind.ACCESS_EXAM), facts.intervals[DueKind.ACCESS_EXAM]
    if (done is None or facts.day_of(done.done_at) < began) and every.stopped:
        yield _due(facts, DueKind.ACCESS_EXAM, began, said)
    catheter = facts.infection.access.kind == AccessKind.CATHETER
    topic = Training.CATHETER_CARE if catheter else Training.ACCESS_CARE
    if not any(each.done_on >= began and each.topic == topic for each in facts.trainings):
        yield _due(facts, "retraining", began, said, of=AccessKind.CATHETER.value if catheter else "")


def _resamples(facts: SurroundingsFacts) -> Iterator[Due]:
    """What was beyond is sampled again at once, from the same place."""
    for test, _grade in facts.beyond:
        on = facts.day_of(test.sampled_at)
        said = ("beyond", {"day": on.isoformat()})
        yield _due(facts, "resample", on, said, of=f"{test.kind}:{test.place}", form="water", id=test.kind)


def _disinfection(facts: SurroundingsFacts) -> Iterator[Due]:
    """Microbes over the limit: the machine is disinfected before it is used again, whatever its interval says."""
    microbes = [held.test for held in facts.held if held.test.kind in MICROBES]
    if not microbes or MachineKind.DIALYSIS not in facts.machines:
        return
    newest = max(microbes, key=lambda test: test.sampled_at)
    last = _last_done(facts, TaskKind.DISINFECTION)
    if last is None or last < newest.sampled_at:
        on = facts.day_of(newest.sampled_at)
        said = ("beyond", {"day": on.isoformat()})
        yield _due(facts, DueKind.DISINFECTION, on, said, form="done", id=TaskKind.DISINFECTION)


def _release(facts: SurroundingsFacts) -> Iterator[Due]:
    """What was over its limit and has passed since is not used before a person of the unit has released it."""
    again = [held.again for held in facts.held if held.again is not None]
    if again and len(again) == len(facts.held):
        on = facts.day_of(max(test.sampled_at for test in again))
        yield _due(facts, "release", on, ("passed", {"day": on.isoformat()}))


def _deliveries(facts: SurroundingsFacts) -> Iterator[Due]:
    for each in facts.deliveries:
        if each.arrived_at is None and each.expected_on is not None:
            said = ("coming", {"count": each.count, "unit": each.item.unit_word})
            more = {"of": each.item.name, "form": "done", "id": str(each.pk)}
            yield _due(facts, "delivery", each.expected_on, said, **more)
