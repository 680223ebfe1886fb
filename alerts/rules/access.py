"""The access: pressures, needles, bleeding, signs of infection; and venous pressure that climbs over weeks.

None of them finds a stenosis: they are reasons to examine the access.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from alerts.models.choices import Family, Urgency
from alerts.rules import pressures
from alerts.rules.base import History, JudgedNight, Rule, Seen
from alerts.rules.drifts import drifting, together
from alerts.rules.duties import overdue
from alerts.rules.evidence_kinds import label_of_evidence, more_of
from alerts.rules.rule_kinds import (
    NOT_NOTED,
    ValueRead,
    check_evidence,
    each_time,
    noted,
    of_night,
    outside,
    record_columns,
    unknown_number,
    where_not_noted,
)
from alerts.rules.wording import cited, later, when
from dosing.science.sources import Status
from sessions.facts.choices import CheckPart
from sessions.models import AnsweredCheck, EventKind

INFECTION = cited(
    _(
        "an access that does not hum as ever wants a call the same day by common practice, infection signs by "
        "Nesrallah et al., Clin J Am Soc Nephrol 2010;5:1047"
    ),
    Status.SEEN,
)
REGULARLY = cited(_("KDOQI 2019 asks for regular examination"), Status.MEMORY)
ADVICE = later(
    lambda: gettext(
        "Trend information: a reason to examine the access and to talk about it, not a finding. %(source)s."
    ) % {"source": REGULARLY}
)  # fmt: skip


STORY = together(
    "access_story",
    "access",
    title=_("Several signs of the access worsen together"),
    about=_("pressures, clearance, bleeding, attempts, pain and the look at the access, together over weeks"),
    family=Family.ACCESS,
    urgency=Urgency.THIS_WEEK,
    beginning=lambda signs: gettext("Signs of the access worsen together: %(signs)s.") % {"signs": signs},
    unnoted=_("none of the signs of the access was noted"),
    advice=ADVICE,
)
OF_STORY = ("access_story",)
SIGNS_OF_ACCESS = ("access_story", "venous_rise", "arterial_fall", "bleeding_rise", "dose_drift")
"""Whoever has just looked after one of them has looked at the access: another single sign waits, several together do
not."""
VENOUS_RISE = drifting(
    "venous_rise",
    series="venous",
    title=_("Venous pressure rising"),
    family=Family.ACCESS,
    urgency=Urgency.THIS_WEEK,
    limit="venous_rise",
    part_of=OF_STORY,
    joins=OF_STORY,
    spoken_with=SIGNS_OF_ACCESS,
    advice=ADVICE,
)
ARTERIAL_FALL = drifting(
    "arterial_fall",
    series="arterial",
    title=_("Arterial pressure falling"),
    family=Family.ACCESS,
    urgency=Urgency.THIS_WEEK,
    limit="arterial_fall",
    part_of=OF_STORY,
    joins=OF_STORY,
    spoken_with=SIGNS_OF_ACCESS,
    advice=ADVICE,
)
BLEEDING_RISE = drifting(
    "bleeding_rise",
    series="bleeding",
    title=_("Bleeding takes longer"),
    family=Family.ACCESS,
    urgency=Urgency.THIS_WEEK,
    limit="bleeding_rise",
    part_of=("bleeding", "venous_rise", *OF_STORY),
    joins=OF_STORY,
    spoken_with=SIGNS_OF_ACCESS,
    advice=ADVICE,
)

BLEEDING = outside(
    "bleeding",
    title=_("Long bleeding after the needles"),
    about=_("bleeding"),
    family=Family.ACCESS,
    urgency=Urgency.THIS_WEEK,
    read=of_night("bleeding"),
    limits=("bleeding",),
    what=_("Bleeding after needles"),
    hold=(2, 3),
    missing=unknown_number("bleeding"),
    advice=ADVICE,
    optional=True,
)


def _attempts(night: JudgedNight) -> Iterator[ValueRead]:
    """All tries of a night together: two needles at the first try are two."""
    counted = [site.attempts for site in night.sites if site.attempts is not None]
    if counted:
        yield ValueRead("site.attempts", night.record.started_at, sum(counted))


ATTEMPTS = outside(
    "attempts",
    title=_("Needles need more attempts"),
    about=_("needle attempts"),
    family=Family.ACCESS,
    urgency=Urgency.THIS_WEEK,
    read=_attempts,
    limits=("attempts",),
    what=_("Needle attempts"),
    hold=(2, 3),
    missing=_("no needle attempts were noted"),
    reads="sites",
    advice=ADVICE,
    optional=True,
)


def _pain(night: JudgedNight) -> Iterator[ValueRead]:
    for site in night.sites:
        if site.pain is not None:
            yield ValueRead("site.pain", site.at or night.record.started_at, site.pain, place=site.use)


PAIN = outside(
    "needle_pain",
    title=_("Pain at the needles"),
    about=_("pain at the needles"),
    family=Family.ACCESS,
    urgency=Urgency.THIS_WEEK,
    read=_pain,
    limits=("pain",),
    what=_("Pain at a needle"),
    hold=(2, 3),
    missing=_("no pain score was noted"),
    reads="sites",
    optional=True,
)
INFILTRATION = noted(EventKind.INFILTRATION, family=Family.ACCESS, urgency=Urgency.THIS_WEEK, over_after=4)
REDNESS = noted(
    EventKind.ACCESS_REDNESS,
    family=Family.ACCESS,
    urgency=Urgency.CALL_TODAY,
    source=INFECTION,
    may_be_muted=False,
)
SILENT = noted(
    EventKind.ACCESS_SILENT,
    family=Family.ACCESS,
    urgency=Urgency.CALL_TODAY,
    may_be_muted=False,
)
FEVER = noted(
    EventKind.FEVER_CHILLS,
    key="fever",
    family=Family.ACCESS,
    urgency=Urgency.CALL_TODAY,
    source=INFECTION,
    may_be_muted=False,
)


TEMPERATURE = outside(
    "body_temperature",
    title=_("Fever"),
    about=_("body temperature"),
    family=Family.ACCESS,
    urgency=Urgency.CALL_TODAY,
    read=record_columns("pre_temperature_c", "post_temperature_c"),
    limits=("body_temperature",),
    at_limit=True,
    margin=0.3,
    form=".1f",
    what=_("Body temperature"),
    missing=_("no body temperature was noted"),
    reads="",
    part_of=("fever", "access_redness"),
    joins=("fever",),
    optional=True,
    may_be_muted=False,
)


def _failed_at_access(night: JudgedNight) -> list[AnsweredCheck]:
    return [check for check in night.checks if check.part == CheckPart.ACCESS and not check.passed]


def _see_access_check(history: History, at: datetime) -> Iterator[Seen]:
    evidence = tuple(
        check_evidence(night, check, "check.access") for night in history.nights for check in _failed_at_access(night)
    )
    if evidence:
        yield Seen("access_check", evidence)


def _say_access_check(seen: Seen) -> str:
    newest = seen.evidence[-1]
    parts = {"when": when(seen.evidence), "check": label_of_evidence(newest), "found": more_of(newest)}
    return gettext("At the access %(when)s: %(check)s, %(found)s.") % parts


def _examined(night: JudgedNight) -> bool:
    return any(check.part == CheckPart.ACCESS for check in night.checks)


ACCESS_CHECK = Rule(
    key="access_check",
    title=_("Something found at the access"),
    about=_("the look at the access before the needles"),
    family=Family.ACCESS,
    urgency=Urgency.CALL_TODAY,
    see=_see_access_check,
    say=_say_access_check,
    source=INFECTION,
    limit_words=each_time,
    reads=frozenset({"checks"}),
    not_judged=where_not_noted(_examined),
    reasons={NOT_NOTED: _("no look at the access was noted")},
    part_of=("access_redness", "access_silent"),
    may_be_muted=False,
)

AFTER_INFECTION = overdue(
    "after_infection",
    kinds=frozenset({"retraining", "access_exam"}),
    limit="due_days",
    title=_("Access to be looked after"),
    about=_("examination of the access and retraining after an infection"),
    family=Family.ACCESS,
    urgency=Urgency.THIS_WEEK,
    unset=_("no infection of the access and no regular examination is noted"),
    at_once=True,
)

RULES = (
    *pressures.RULES,
    STORY,
    VENOUS_RISE,
    ARTERIAL_FALL,
    BLEEDING,
    BLEEDING_RISE,
    ATTEMPTS,
    PAIN,
    INFILTRATION,
    REDNESS,
    SILENT,
    FEVER,
    TEMPERATURE,
    ACCESS_CHECK,
    AFTER_INFECTION,
)
