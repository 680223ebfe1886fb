"""The access: pressures, needles, bleeding, signs of infection; and venous pressure that climbs over weeks.

None of them finds a stenosis: they are reasons to examine the access.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from alerts.models.choices import Family, Urgency
from alerts.rules import pressures
from alerts.rules.base import Evidence, History, Night, NotJudged, Rule, Seen
from alerts.rules.drifts import drifting
from alerts.rules.rule_kinds import Look, noted, of_night, outside, unknown_number
from alerts.rules.wording import when
from sessions.facts.choices import CheckPart
from sessions.models import Check, EventKind

INFECTION = (
    "infection signs want a call the same day: Nesrallah et al., Clin J Am Soc Nephrol 2010;5:1047 (seen); "
    "an access that does not hum as ever too: common practice"
)
ADVICE = (
    "Trend information: a reason to examine the access and to talk about it, not a finding "
    "(KDOQI 2019 asks for regular examination; from memory)."
)


VENOUS_RISE = drifting(
    "venous_rise",
    series="venous",
    title="Venous pressure rising",
    family=Family.ACCESS,
    urgency=Urgency.THIS_WEEK,
    limit="venous_rise",
    advice=ADVICE,
)
ARTERIAL_FALL = drifting(
    "arterial_fall",
    series="arterial",
    title="Arterial pressure falling",
    family=Family.ACCESS,
    urgency=Urgency.THIS_WEEK,
    limit="arterial_fall",
    advice=ADVICE,
)
BLEEDING_RISE = drifting(
    "bleeding_rise",
    series="bleeding",
    title="Bleeding takes longer",
    family=Family.ACCESS,
    urgency=Urgency.THIS_WEEK,
    limit="bleeding_rise",
    part_of=("bleeding", "venous_rise"),
    advice=ADVICE,
)

BLEEDING = outside(
    "bleeding",
    title="Long bleeding after the needles",
    about="bleeding",
    family=Family.ACCESS,
    urgency=Urgency.THIS_WEEK,
    read=of_night("bleeding"),
    limits=("bleeding",),
    what="Bleeding after needles",
    hold=(2, 3),
    missing=unknown_number("bleeding"),
    advice=ADVICE,
    optional=True,
)


def _attempts(night: Night) -> Iterator[Look]:
    """All tries of a night together: two needles at the first try are two."""
    counted = [site.attempts for site in night.sites if site.attempts is not None]
    if counted:
        yield Look(night.record.started_at, "Needle attempts", sum(counted), "")


ATTEMPTS = outside(
    "attempts",
    title="Needles need more attempts",
    about="needle attempts",
    family=Family.ACCESS,
    urgency=Urgency.THIS_WEEK,
    read=_attempts,
    limits=("attempts",),
    what="Needle attempts",
    hold=(2, 3),
    missing="no needle attempts were noted",
    reads="sites",
    advice=ADVICE,
    optional=True,
)


def _pain(night: Night) -> Iterator[Look]:
    for site in night.sites:
        if site.pain is not None:
            yield Look(site.at or night.record.started_at, f"Pain at the {site.use} needle", site.pain, "of 10")


PAIN = outside(
    "needle_pain",
    title="Pain at the needles",
    about="pain at the needles",
    family=Family.ACCESS,
    urgency=Urgency.THIS_WEEK,
    read=_pain,
    limits=("pain",),
    what="Pain at a needle",
    hold=(2, 3),
    missing="no pain score was noted",
    reads="sites",
    optional=True,
)
INFILTRATION = noted(EventKind.INFILTRATION, family=Family.ACCESS, urgency=Urgency.THIS_WEEK, over_after=4)
REDNESS = noted(EventKind.ACCESS_REDNESS, family=Family.ACCESS, urgency=Urgency.CALL_TODAY, source=INFECTION)
FEVER = noted(EventKind.FEVER_CHILLS, key="fever", family=Family.ACCESS, urgency=Urgency.CALL_TODAY, source=INFECTION)


def _temperatures(night: Night) -> Iterator[Look]:
    record = night.record
    end = record.ended_at or record.started_at
    for at, label, value in (
        (record.started_at, "Temperature before", record.pre_temperature_c),
        (end, "Temperature after", record.post_temperature_c),
    ):
        if value is not None:
            yield Look(at, label, value, "°C")


TEMPERATURE = outside(
    "body_temperature",
    title="Fever",
    about="body temperature",
    family=Family.ACCESS,
    urgency=Urgency.CALL_TODAY,
    read=_temperatures,
    limits=("body_temperature",),
    at_limit=True,
    margin=0.3,
    form=".1f",
    what="Body temperature",
    missing="no body temperature was noted",
    reads="",
    part_of=("fever", "access_redness"),
    optional=True,
)


def _failed_at_access(night: Night) -> list[Check]:
    return [check for check in night.checks if check.part == CheckPart.ACCESS and not check.passed]


def _see_access_check(history: History, at: datetime) -> Iterator[Seen]:
    evidence = tuple(
        Evidence(
            check.at or night.record.started_at,
            night.record.night,
            check.name,
            words=check.note or check.reason or "not as it should be",
            record=str(night.record.pk),
        )
        for night in history.nights
        for check in _failed_at_access(night)
    )
    if evidence:
        yield Seen("access_check", evidence, limit_words="each time", source=INFECTION)


def _not_examined(history: History) -> Iterator[NotJudged]:
    looked = [night for night in history.finished if any(c.part == CheckPart.ACCESS for c in night.checks)]
    without = [night for night in history.finished if night not in looked]
    if without and not looked:
        yield NotJudged(None, "no look at the access was noted")
        return
    yield from (NotJudged(night, "no look at the access was noted") for night in without)


ACCESS_CHECK = Rule(
    key="access_check",
    title="Something found at the access",
    about="the look at the access before the needles",
    family=Family.ACCESS,
    urgency=Urgency.CALL_TODAY,
    see=_see_access_check,
    say=lambda seen: f"At the access {when(seen.evidence)}: {seen.evidence[-1].label}, {seen.evidence[-1].words}.",
    source=INFECTION,
    reads=frozenset({"checks"}),
    not_judged=_not_examined,
    part_of=("access_redness",),
)

RULES = (
    *pressures.RULES,
    VENOUS_RISE,
    ARTERIAL_FALL,
    BLEEDING,
    BLEEDING_RISE,
    ATTEMPTS,
    PAIN,
    INFILTRATION,
    REDNESS,
    FEVER,
    TEMPERATURE,
    ACCESS_CHECK,
)
