"""Water: chlorine before a treatment, samples against the unit's edition of the standard, what is overdue."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, JudgedNight, NotJudged, Remark, Rule, Seen
from alerts.rules.duties import overdue
from alerts.rules.evidence_kinds import label_of_evidence, more_of, unit_of
from alerts.rules.rule_kinds import ValueRead, outside
from alerts.rules.wording import day, figure
from dosing.science.sources import Status
from dosing.science.water import LIMITS, Grade, WaterLimit
from dosing.services.numbers.seen import with_status
from dosing.services.results.water import Standard
from sessions.facts.choices_surroundings import WaterFluid, WaterKind
from sessions.models import WaterTest

SAMPLES = (WaterKind.BACTERIA, WaterKind.ENDOTOXIN)
OF_THE_UNIT = (WaterKind.CONDUCTIVITY, WaterKind.HARDNESS)
"""Judged only where the unit has entered a figure: no edition prints one."""
TESTS = frozenset(str(kind) for kind in SAMPLES)
CARE = frozenset({"carbon_change", "water_service"})


def _chlorine_read(night: JudgedNight) -> Iterator[ValueRead]:
    """The unit's check for chlorine, by its key or its name."""
    for check in night.checks:
        if check.value is not None and ("chlorine" in check.key or "chlorine" in check.name.lower()):
            parts = {"name": check.name, "version": night.record.checklist_version, "unit": check.unit or "mg/L"}
            at = check.at or night.record.started_at
            yield ValueRead("check.value", at, check.value, place=check.key or check.name, parts=parts)


def _chlorine(
    key: str, title: StrOrPromise, urgency: Urgency, *, at_limit: bool, part_of: tuple[str, ...] = ()
) -> Rule:
    return outside(
        key,
        title=title,
        about=_("total chlorine, near the limit") if at_limit else _("total chlorine"),
        family=Family.WATER,
        urgency=urgency,
        read=_chlorine_read,
        limits=(key,),
        at_limit=at_limit,
        form=".2f",
        what=_("Total chlorine"),
        missing=_("no chlorine test was noted"),
        reads="checks",
        part_of=part_of,
        optional=True,
        may_be_muted=at_limit,
    )


CHLORINE = _chlorine("chlorine", _("Chlorine in the water"), Urgency.CALL_TODAY, at_limit=False)
CHLORINE_ACTION = _chlorine(
    "chlorine_action",
    _("Chlorine in the water near the limit"),
    Urgency.THIS_WEEK,
    at_limit=True,
    part_of=("chlorine",),
)


def _limit_of(history: History, test: WaterTest) -> WaterLimit | None:
    return history.surroundings.standard.limit(test.fluid, test.kind) if history.surroundings else None


def grade(history: History, test: WaterTest) -> Grade | None:
    """Of one result; None where the standard holds no figure or the method was too coarse."""
    found = history.surroundings.standard.grade(test).number if history.surroundings else None
    return None if found is None else Grade(int(found))


def _samples(history: History) -> list[WaterTest]:
    around = history.surroundings
    return [test for test in around.water if _is_judged(around.standard, test)] if around else []


def _is_judged(standard: Standard, test: WaterTest) -> bool:
    return test.kind in SAMPLES or (test.kind in OF_THE_UNIT and standard.is_own(test.fluid, test.kind))


def _since_clean(history: History, kind: str, place: str) -> list[WaterTest]:
    """The results of one kind from one place since it last passed; none when the newest passed."""
    own = [test for test in _samples(history) if (test.kind, test.place) == (kind, place)]
    clean = [index for index, test in enumerate(own) if grade(history, test) == Grade.PASS]
    return own[clean[-1] + 1 :] if clean else own


def _see_quality(history: History, at: datetime) -> Iterator[Seen]:
    for kind, place in sorted({(test.kind, test.place) for test in _samples(history)}):
        beyond = [test for test in _since_clean(history, kind, place) if (grade(history, test) or 0) > Grade.PASS]
        if beyond:
            yield _seen_quality(history, beyond)


def _seen_quality(history: History, tests: list[WaterTest]) -> Seen:
    newest = tests[-1]
    limit = _limit_of(history, newest)
    assert limit is not None  # a grade was given against it
    failed = any(grade(history, test) == Grade.FAIL for test in tests)
    return Seen(
        f"{newest.kind}:{newest.place}",
        tuple(_sample(history, test) for test in tests),
        parts={
            "failed": failed,
            "level": _level(limit, failed=failed),
            "edition": str(history.surroundings.standard.edition) if history.surroundings else "",
            "own": bool(history.surroundings and history.surroundings.standard.is_own(newest.fluid, newest.kind)),
        },
        urgency=Urgency.CALL_TODAY if failed else Urgency.THIS_WEEK,
    )


def _level(limit: WaterLimit, *, failed: bool) -> float:
    """What a result is beyond: the limit, or the level at which to act."""
    return limit.limit if failed else limit.action or limit.limit


def _sample(history: History, test: WaterTest) -> Evidence:
    limit = _limit_of(history, test)
    return Evidence(
        kind=f"water.{test.kind}",
        at=test.sampled_at,
        day=test.sampled_at.astimezone(history.zone).date(),
        value=test.value,
        limit=_level(limit, failed=grade(history, test) == Grade.FAIL) if limit else None,
        place=test.place,
        parts={"unit": test.unit, "fluid": test.fluid},
    )


def _say_quality(seen: Seen) -> str:
    newest = seen.evidence[-1]
    parts = {
        "what": label_of_evidence(newest),
        "figure": figure(newest.value or 0.0, unit=unit_of(newest)),
        "fluid": WaterFluid(newest.parts["fluid"]).label,
        "place": more_of(newest),
        "day": day(newest.day),
    }
    if seen.parts["failed"]:
        return gettext("%(what)s %(figure)s in %(fluid)s, %(place)s, sampled on %(day)s: at the limit.") % parts
    words = gettext("%(what)s %(figure)s in %(fluid)s, %(place)s, sampled on %(day)s: at the level at which to act.")
    return words % parts


def _level_words(seen: Seen) -> str:
    level = {"level": figure(seen.parts["level"], unit=unit_of(seen.evidence[-1]))}
    if seen.parts["failed"]:
        return gettext("the limit: %(level)s") % level
    return gettext("the level at which to act: %(level)s") % level


def _standard_words(seen: Seen) -> str:
    """The source of the figure in the edition by which it was judged, or that the unit has entered it."""
    newest = seen.evidence[-1]
    if seen.parts.get("own"):
        return with_status("", Status.UNIT)
    limit = LIMITS.get((seen.parts["edition"], newest.parts["fluid"], newest.kind.partition(".")[2]))
    return with_status(gettext(limit.source), limit.status) if limit else str(STANDARD)


def _quality_unknown(history: History) -> Iterator[NotJudged]:
    samples = _samples(history)
    if not samples:
        yield NotJudged(None, Remark("no_sample"))
    for test in samples[-1:]:
        if grade(history, test) is None:
            yield NotJudged(None, Remark("no_figure", {"fluid": test.get_fluid_display()}))


STANDARD = _("the edition of the standard that the unit has chosen; see ISO 23500-3 and -5:2019 [source read]")
QUALITY = Rule(
    key="water_quality",
    title=_("Water beyond its limit"),
    about=_("cultures and endotoxin of the water"),
    family=Family.WATER,
    urgency=Urgency.THIS_WEEK,
    see=_see_quality,
    say=_say_quality,
    source=STANDARD,
    limit_words=_level_words,
    source_words=_standard_words,
    over=_("when the next sample from the same place passes"),
    not_judged=_quality_unknown,
    reasons={
        "no_sample": _("no culture and no endotoxin of the water is noted"),
        "no_figure": _("the unit's standard has no figure for %(fluid)s, or the method is coarse"),
    },
    by_time=True,
    may_be_muted=False,
)

OVERDUE = overdue(
    "water_overdue",
    kinds=TESTS | CARE,
    limit="due_days",
    title=_("Water test or care overdue"),
    about=_("water tests and care that are due"),
    family=Family.WATER,
    urgency=Urgency.THIS_WEEK,
    unset=_("no water treatment at home is noted"),
)

RULES = (CHLORINE, CHLORINE_ACTION, QUALITY, OVERDUE)
