"""The circuit: clotting, transmembrane pressure, and alarms."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, JudgedNight, Rule, Seen, often
from alerts.rules.drifts import drifting
from alerts.rules.evidence_kinds import more_of
from alerts.rules.rule_kinds import NOT_NOTED, PRACTICE, noted, of_readings, outside, passed_after, where_not_noted
from alerts.rules.wording import when
from sessions.facts.choices import DialyserLook
from sessions.models import EventKind

CLOTTING = noted(EventKind.CLOTTING, family=Family.CIRCUIT, urgency=Urgency.THIS_WEEK, hold=(2, 3), over_after=4)
BLOOD_LEAK = noted(EventKind.BLOOD_LEAK, family=Family.CIRCUIT, urgency=Urgency.CALL_TODAY, may_be_muted=False)
ALARMS = noted(EventKind.MACHINE_ALARM, family=Family.CIRCUIT, urgency=Urgency.THIS_WEEK, hold=(2, 3), over_after=4)

DARK = (DialyserLook.HALF, DialyserLook.CLOTTED)


def _dark(night: JudgedNight) -> bool:
    return night.record.dialyser_look in DARK


def _see_dialyser(history: History, at: datetime) -> Iterator[Seen]:
    """A clotted dialyser each time; one that is half dark when it comes again."""
    known = [night for night in history.finished if night.record.dialyser_look]
    again = often(2, 3, known, _dark)
    nights = [night for night in known if night in again or night.record.dialyser_look == DialyserLook.CLOTTED]
    if nights:
        yield Seen("dialyser_look", tuple(_looked(night) for night in nights))


def _looked(night: JudgedNight) -> Evidence:
    record = night.record
    return Evidence(
        kind="record.dialyser_look",
        at=record.ended_at or record.started_at,
        day=record.night,
        record=str(record.pk),
        parts={"look": record.dialyser_look},
    )


def _say_dialyser(seen: Seen) -> str:
    parts = {"look": more_of(seen.evidence[-1]), "when": when(seen.evidence)}
    return gettext("Dialyser %(look)s after rinse-back %(when)s.") % parts


def _clear(history: History, night: JudgedNight) -> bool | None:
    return not _dark(night) if night.record.dialyser_look else None


DIALYSER = Rule(
    key="dialyser_look",
    title=_("Dialyser clotted"),
    about=_("look of the dialyser"),
    family=Family.CIRCUIT,
    urgency=Urgency.THIS_WEEK,
    see=_see_dialyser,
    say=_say_dialyser,
    source=PRACTICE,
    limit_words=lambda seen: gettext("clotted once, or half dark on 2 of 3 treatments"),
    holds=_("on 2 of 3 treatments, or once when clotted"),
    over=_("after 3 treatments clear"),
    passed=passed_after(3, _clear, "clear"),
    not_judged=where_not_noted(lambda night: night.record.dialyser_look),
    reasons={NOT_NOTED: _("how the dialyser looked was not noted")},
    part_of=("clotting",),
    joins=("clotting",),
)

TMP_HIGH = outside(
    "tmp_high",
    title=_("Transmembrane pressure over its limit"),
    about=_("transmembrane pressure"),
    family=Family.CIRCUIT,
    urgency=Urgency.THIS_WEEK,
    read=of_readings("tmp_mmhg"),
    limits=("tmp_high",),
    margin=20,
    what=_("Transmembrane pressure"),
    missing=_("no transmembrane pressure was noted"),
    reads="readings",
    part_of=("clotting", "dialyser_look"),
    joins=("clotting", "dialyser_look"),
    optional=True,
)

TMP_RISE = drifting(
    "tmp_rise",
    series="tmp",
    title=_("Transmembrane pressure rising"),
    family=Family.CIRCUIT,
    urgency=Urgency.THIS_WEEK,
    limit="tmp_rise",
    part_of=("clotting", "dialyser_look", "tmp_high"),
)

RULES = (CLOTTING, BLOOD_LEAK, ALARMS, DIALYSER, TMP_HIGH, TMP_RISE)
