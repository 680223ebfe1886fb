"""The circuit: clotting, transmembrane pressure, and alarms."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, Night, NotJudged, Rule, Seen, often
from alerts.rules.drifts import drifting
from alerts.rules.rule_kinds import PRACTICE, noted, of_readings, outside, passed_after
from alerts.rules.wording import when
from sessions.facts.choices import DialyserLook
from sessions.models import EventKind

CLOTTING = noted(EventKind.CLOTTING, family=Family.CIRCUIT, urgency=Urgency.THIS_WEEK, hold=(2, 3), over_after=4)
BLOOD_LEAK = noted(EventKind.BLOOD_LEAK, family=Family.CIRCUIT, urgency=Urgency.CALL_TODAY)
ALARMS = noted(EventKind.MACHINE_ALARM, family=Family.CIRCUIT, urgency=Urgency.THIS_WEEK, hold=(2, 3), over_after=4)

DARK = (DialyserLook.HALF, DialyserLook.CLOTTED)


def _dark(night: Night) -> bool:
    return night.record.dialyser_look in DARK


def _see_dialyser(history: History, at: datetime) -> Iterator[Seen]:
    """A clotted dialyser each time; one that is half dark when it comes again."""
    known = [night for night in history.finished if night.record.dialyser_look]
    again = often(2, 3, known, _dark)
    nights = [night for night in known if night in again or night.record.dialyser_look == DialyserLook.CLOTTED]
    if nights:
        words = "clotted once, or half dark on 2 of 3 treatments"
        yield Seen("dialyser_look", tuple(_looked(night) for night in nights), limit_words=words, source=PRACTICE)


def _looked(night: Night) -> Evidence:
    record = night.record
    words = str(DialyserLook(record.dialyser_look).label)
    return Evidence(record.ended_at or record.started_at, record.night, "Dialyser", words=words, record=str(record.pk))


def _say_dialyser(seen: Seen) -> str:
    return f"Dialyser {seen.evidence[-1].words} after rinse-back {when(seen.evidence)}."


def _clear(history: History, night: Night) -> bool | None:
    return not _dark(night) if night.record.dialyser_look else None


def _not_looked_at(history: History) -> Iterator[NotJudged]:
    without = [night for night in history.finished if not night.record.dialyser_look]
    if without and len(without) == len(history.finished):
        yield NotJudged(None, "how the dialyser looked was not noted")
        return
    yield from (NotJudged(night, "how the dialyser looked was not noted") for night in without)


DIALYSER = Rule(
    key="dialyser_look",
    title="Dialyser clotted",
    about="look of the dialyser",
    family=Family.CIRCUIT,
    urgency=Urgency.THIS_WEEK,
    see=_see_dialyser,
    say=_say_dialyser,
    source=PRACTICE,
    holds="on 2 of 3 treatments, or once when clotted",
    over="after 3 treatments clear",
    passed=passed_after(3, _clear, "Clear"),
    not_judged=_not_looked_at,
    part_of=("clotting",),
)

TMP_HIGH = outside(
    "tmp_high",
    title="Transmembrane pressure over its limit",
    about="transmembrane pressure",
    family=Family.CIRCUIT,
    urgency=Urgency.THIS_WEEK,
    read=of_readings("tmp_mmhg", "Transmembrane pressure", "mmHg"),
    limits=("tmp_high",),
    margin=20,
    what="Transmembrane pressure",
    missing="no transmembrane pressure was noted",
    reads="readings",
    part_of=("clotting", "dialyser_look"),
    optional=True,
)

TMP_RISE = drifting(
    "tmp_rise",
    series="tmp",
    title="Transmembrane pressure rising",
    family=Family.CIRCUIT,
    urgency=Urgency.THIS_WEEK,
    limit="tmp_rise",
    part_of=("clotting", "dialyser_look", "tmp_high"),
)

RULES = (CLOTTING, BLOOD_LEAK, ALARMS, DIALYSER, TMP_HIGH, TMP_RISE)
