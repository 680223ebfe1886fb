"""Water tests as recorded, judged by the standard that the unit works by."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from dosing.science import water
from dosing.services.numbers.reasons import reason_words
from sessions.facts.choices_surroundings import WaterEdition, WaterKind
from sessions.models import WaterStandard, WaterTest


@dataclass(frozen=True, slots=True)
class JudgedTest:
    """What a result means. grade: as `water.Grade`, None where unknown; words; limit: what it was held against."""

    test: WaterTest
    grade: int | None
    words: str
    limit: str

    @property
    def tone(self) -> str:
        """The badge's class."""
        tones = {0: "tone-done", 1: "tone-this-week", 2: "tone-call-today"}
        return tones.get(-1 if self.grade is None else self.grade, "tone-unknown")


def edition_in_use() -> WaterEdition:
    """What the unit has chosen, else the edition that is the default."""
    chosen = WaterStandard.objects.values_list("edition", flat=True).first()
    return WaterEdition(chosen) if chosen else WaterEdition.ISO_2019


def limit_of(test: WaterTest, edition: str) -> water.WaterLimit | None:
    """The limit a test is held against, None where that edition holds none. Chlorine has one in every edition."""
    if test.kind == WaterKind.TOTAL_CHLORINE:
        return water.CHLORINE
    return water.LIMITS.get((edition, test.fluid, test.kind))


def mark_of(test: WaterTest, edition: str) -> JudgedTest:
    """The judgement of one test."""
    limit = limit_of(test, edition)
    if limit is None:
        return JudgedTest(test, None, _("no limit held"), "")
    graded = water.grade_against(limit=limit, value=test.value, below_detection=float(test.below_detection))
    if graded.number is None:
        return JudgedTest(test, None, _("unknown: %(why)s") % {"why": reason_words(graded.reason)}, _limit_words(limit))
    grade = int(graded.number)
    words = {0: _("within the limit"), 1: _("action level"), 2: _("over the limit")}
    return JudgedTest(test, grade, words[grade], _limit_words(limit))


def _limit_words(limit: water.WaterLimit) -> str:
    below = _("below %(limit)s %(unit)s") if limit.exclusive else _("at most %(limit)s %(unit)s")
    words = below % {"limit": f"{limit.limit:g}", "unit": limit.unit}
    if limit.action is None:
        return words
    return _("%(limit)s, action from %(action)s") % {"limit": words, "action": f"{limit.action:g}"}
