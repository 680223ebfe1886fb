"""Safety: what is dangerous at once. Always a call today, never muted, over only when the nurse says so.

A mute quiets what is known and repeats; each of these is an incident of its own, written down by somebody who chose
its name, and none of them repeats harmlessly. So there is no time, not even a day, for which they may be muted.
"""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Rule
from alerts.rules.rule_kinds import PRACTICE, noted
from alerts.rules.wording import cited
from dosing.science.sources import Status
from sessions.models import EventKind

SEVERE = cited(
    _("needle dislodgement and air lead the severe events at home: Tennankore et al., Am J Kidney Dis 2015;65:116"),
    Status.ABSTRACT,
)
BLOOD_BREAKS = cited(
    _("chloramine in the water broke the blood of people at home: Junglee et al., Hemodial Int 2010;14:327"),
    Status.ABSTRACT,
)


def _urgent(kind: EventKind, key: str = "", source: StrOrPromise = PRACTICE, part_of: tuple[str, ...] = ()) -> Rule:
    return noted(
        kind,
        key=key,
        family=Family.SAFETY,
        urgency=Urgency.CALL_TODAY,
        source=source,
        part_of=part_of,
        may_be_muted=False,
    )


NEEDLE_OUT = _urgent(EventKind.NEEDLE_DISLODGED, source=SEVERE)
AIR = _urgent(EventKind.AIR, key="air_in_line", source=SEVERE)
BLEEDING = _urgent(EventKind.BLEEDING, key="hard_bleeding", part_of=("needle_dislodged",))
NO_ANSWER = _urgent(EventKind.NO_ANSWER, key="did_not_answer")
FAINTED = _urgent(EventKind.FAINTED, part_of=("did_not_answer",))
CHEST_PAIN = _urgent(EventKind.CHEST_PAIN)
BREATHLESS = _urgent(EventKind.BREATHLESS)
LINE_APART = _urgent(EventKind.LINE_APART)
CATHETER_OPEN = _urgent(EventKind.CATHETER_OPEN)
BLOOD_COLOUR = _urgent(EventKind.BLOOD_COLOUR, source=BLOOD_BREAKS)
CHLORINE = _urgent(EventKind.CHLORINE, source=BLOOD_BREAKS)
ALLERGY = _urgent(EventKind.ALLERGY)
HEART = _urgent(EventKind.HEART)

RULES = (
    NEEDLE_OUT,
    AIR,
    BLEEDING,
    NO_ANSWER,
    FAINTED,
    CHEST_PAIN,
    BREATHLESS,
    LINE_APART,
    CATHETER_OPEN,
    BLOOD_COLOUR,
    CHLORINE,
    ALLERGY,
    HEART,
)
