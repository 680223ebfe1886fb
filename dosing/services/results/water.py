"""Water tests as recorded, judged by the standard that the unit works by."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext as _

from dosing.science import water
from dosing.science.results import Measure
from dosing.science.sources import Status
from dosing.services.numbers.reasons import reason_words
from dosing.services.numbers.seen import with_status
from sessions.facts.choices_surroundings import WATER_UNITS, WaterEdition, WaterFluid, WaterKind
from sessions.models import WaterStandard, WaterTest
from sessions.services.surroundings_facts import WaterJudge

LESS_THAN = frozenset({WaterKind.BACTERIA, WaterKind.ENDOTOXIN})
"""Kinds whose limit is itself beyond it, as the standards say; of the others it is the most that is allowed."""
WITHOUT_FIGURE = frozenset({WaterKind.CONDUCTIVITY, WaterKind.HARDNESS})
"""Kinds for which no edition prints a figure."""


@dataclass(frozen=True, slots=True)
class Standard:
    """What water is judged by: the figures of the unit's own before those of the edition. figures: as in the model."""

    edition: str = WaterEdition.ISO_2019
    figures: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def label(self) -> str:
        """The edition in the language of the reader."""
        return str(WaterEdition(self.edition).label)

    def is_own(self, fluid: str, kind: str) -> bool:
        return kind in self.figures.get(fluid, {})

    def limit(self, fluid: str, kind: str) -> water.WaterLimit | None:
        """None where neither the unit nor the edition has one. Chlorine has one in every edition."""
        if kind == WaterKind.TOTAL_CHLORINE:
            fluid = WaterFluid.DIALYSIS_WATER  # wherever it is sampled, it is that of the water
        if self.is_own(fluid, kind):
            most, action = self.figures[fluid][kind]
            return water.WaterLimit(
                WATER_UNITS[WaterKind(kind)], most, action, kind in LESS_THAN, source="", status=Status.UNIT
            )
        if kind == WaterKind.TOTAL_CHLORINE:
            return water.CHLORINE
        return water.LIMITS.get((self.edition, fluid, kind))

    def grade(self, test: WaterTest) -> Measure:
        """The grade of one result [grade]; unknown where no limit is held or the method was too coarse."""
        result: dict[str, float] = {"value": test.value, "below_detection": float(test.below_detection)}
        limit = self.limit(test.fluid, test.kind)
        if limit is not None:
            return water.grade_against(limit=limit, **result)
        return water.classify(quantity=test.kind, fluid=test.fluid, edition=self.edition, **result)


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


def standard_in_use() -> Standard:
    """What the unit has chosen and entered, else the edition that is the default: one query."""
    chosen = WaterStandard.objects.first()
    return Standard(chosen.edition, chosen.figures) if chosen else Standard()


def mark_of(test: WaterTest, standard: Standard) -> JudgedTest:
    """The judgement of one test."""
    limit = standard.limit(test.fluid, test.kind)
    if limit is None:
        return JudgedTest(test, None, _("no limit held"), _why_none(test, standard))
    graded = standard.grade(test)
    if graded.number is None:
        return JudgedTest(test, None, _("unknown: %(why)s") % {"why": reason_words(graded.reason)}, _limit_words(limit))
    grade = int(graded.number)
    return JudgedTest(test, grade, level_words(limit, test.value, grade), _limit_words(limit))


def level_words(limit: water.WaterLimit, value: float, grade: int) -> str:
    """Where a result lies, with action level and limit each by its name."""
    if grade == water.Grade.PASS:
        return _("within the limit")
    if grade == water.Grade.FAIL:
        return _("at the limit, which counts as over") if value == limit.limit else _("over the limit")
    at = value == limit.action
    return _("at the action level, within the limit") if at else _("over the action level, within the limit")


def judge_in_use() -> WaterJudge:
    """What grades water by the standard in use: one query."""
    standard = standard_in_use()

    def grades(tests: Iterable[WaterTest]) -> dict[uuid.UUID, int]:
        graded = ((test.pk, standard.grade(test).number) for test in tests)
        return {pk: int(number) for pk, number in graded if number is not None}

    held = [
        (Q(fluid=fluid.value, kind=kind.value), limit)
        for fluid in WaterFluid
        for kind in WaterKind
        if (limit := standard.limit(fluid.value, kind.value))
    ]
    failed, known = Q(pk__in=[]), Q(pk__in=[])
    for which, limit in held:
        over = Q(value__gte=limit.limit) if limit.exclusive else Q(value__gt=limit.limit)
        act = over if limit.action is None else over | Q(value__gte=limit.action)
        failed |= which & over & Q(below_detection=False)
        known |= which & (Q(below_detection=False) | ~act)
    return WaterJudge(grades, failed, known)


def _why_none(test: WaterTest, standard: Standard) -> str:
    """Why there is no limit: none is printed, none was entered, or this edition has none."""
    if test.kind in WITHOUT_FIGURE:
        return _("no edition prints one; the unit may enter its own")
    if standard.edition == WaterEdition.ISO_2024:
        return _("the unit has entered no figure yet")
    return _("this edition holds none; the unit may enter its own")


def _limit_words(limit: water.WaterLimit) -> str:
    below = _("below %(limit)s %(unit)s") if limit.exclusive else _("at most %(limit)s %(unit)s")
    words = below % {"limit": f"{limit.limit:g}", "unit": limit.unit}
    if limit.action is not None:
        words = _("%(limit)s, action from %(action)s") % {"limit": words, "action": f"{limit.action:g}"}
    return words if limit.source else with_status(words, limit.status)
