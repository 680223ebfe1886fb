"""Water: chlorine before a treatment, samples against the unit's edition of the standard, what is overdue."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, time
from typing import Any

from django.utils.translation import gettext, ngettext_lazy
from django.utils.translation import gettext_lazy as _

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, NotJudged, Remark, Rule, Seen
from alerts.rules.duties import overdue
from alerts.rules.evidence_kinds import ACTION_LEVEL, label_of_evidence, more_of, unit_of
from alerts.rules.rule_kinds import NOT_NOTED, check_evidence
from alerts.rules.wording import cited, day, figure
from dosing.science.sources import Status
from dosing.science.water import LIMITS, Grade, WaterLimit
from dosing.services.numbers.seen import with_status
from dosing.services.results.water import Standard
from homedialysis.accounts.services.dates import told_clock
from sessions.facts.choices_surroundings import WaterFluid, WaterKind
from sessions.models import AnsweredCheck, WaterTest
from sessions.texts.checklist import not_put_right

SAMPLES = (WaterKind.BACTERIA, WaterKind.ENDOTOXIN)
OF_THE_UNIT = (WaterKind.CONDUCTIVITY, WaterKind.HARDNESS)
"""Judged only where the unit has entered a figure: no edition prints one."""
TESTS = frozenset(str(kind) for kind in SAMPLES)
CLEAN_CHECKS = 3
"""So many tests before treatments that pass end it (common practice, no source)."""
CARE = frozenset({"carbon_change", "water_service"})


def standard_of(history: History) -> Standard:
    """What the unit judges water by; the default where it was not read."""
    return history.surroundings.standard if history.surroundings else Standard()


def chlorine_limit(history: History) -> WaterLimit:
    """One for whoever tests and wherever."""
    limit = standard_of(history).limit(WaterFluid.DIALYSIS_WATER, WaterKind.TOTAL_CHLORINE)
    assert limit is not None  # there is one in every edition
    return limit


def is_chlorine(check: AnsweredCheck) -> bool:
    """The unit's check for chlorine, by its key or its name."""
    return "chlorine" in check.key or "chlorine" in check.name.lower()


def chlorine_grade(history: History, value: float) -> Grade:
    """Of a figure that was read."""
    limit = chlorine_limit(history)
    if value > limit.limit:
        return Grade.FAIL
    return Grade.ACTION if limit.action is not None and value >= limit.action else Grade.PASS


ChlorineTest = tuple[Evidence, Grade, bool]
"""A figure with its grade, and whether the water at home was tested apart from a treatment."""


def _chlorine_of(history: History) -> list[ChlorineTest]:
    """Every figure that says something, oldest first. A strip that sees too little says nothing."""
    found = []
    for night in history.nights:
        for check in night.checks:
            if check.value is not None and is_chlorine(check):
                grade = chlorine_grade(history, check.value)
                found.append((_with_level(history, check_evidence(night, check, "check.value"), grade), grade, False))
    for test in history.surroundings.water if history.surroundings else ():
        graded = grade_of(history, test)
        if test.kind == WaterKind.TOTAL_CHLORINE and graded is not None:
            found.append((_sample(history, test), graded, True))
    return sorted(found, key=lambda each: each[0].at)


def _with_level(history: History, item: Evidence, grade: Grade) -> Evidence:
    failed = grade == Grade.FAIL
    return replace(
        item, limit=_level(chlorine_limit(history), failed=failed), parts={**item.parts, **_named(failed=failed)}
    )


def _see_chlorine(history: History, at: datetime) -> Iterator[Seen]:
    tests = _chlorine_of(history)
    beyond = [(item, grade) for item, grade, _apart in tests if grade > Grade.PASS]
    if not beyond:
        return
    last = beyond[-1][0].day
    failed = any(grade == Grade.FAIL for item, grade in beyond if item.day == last)
    begun = any(
        is_chlorine(check) for night in history.nights if night.record.night == last
        for check in not_put_right(night.checks)
    )  # fmt: skip
    limit = chlorine_limit(history)
    yield Seen(
        "chlorine",
        tuple(item for item, _grade in beyond),
        parts={"failed": failed, "begun": begun, "limit": limit.limit, "action": limit.action}
        | {"later": _later_of(history, tests), "stops": _is_held(history, WaterKind.TOTAL_CHLORINE)},
        urgency=Urgency.CALL_TODAY if failed else Urgency.THIS_WEEK,
    )


def _after_beyond(tests: Sequence[ChlorineTest]) -> Sequence[ChlorineTest]:
    """The tests after the last that was beyond, by the clock: done again the same evening counts too."""
    last = max((index for index, (_item, grade, _apart) in enumerate(tests) if grade > Grade.PASS), default=-1)
    return tests[last + 1 :]


def _later_of(history: History, tests: Sequence[ChlorineTest]) -> dict[str, Any] | None:
    """The newest of the tests that passed since, as it goes into words."""
    after = _after_beyond(tests)
    if not after:
        return None
    item = after[-1][0]
    at = item.at.astimezone(history.zone)
    return {
        "count": len(after),
        "value": item.value,
        "day": item.day.isoformat(),
        "clock": at.time().isoformat("minutes"),
    }


def _is_held(history: History, kind: str, place: str | None = None) -> bool:
    """Whether the phone says not to begin, because of a test of this kind, from this place or any."""
    held = history.surroundings.held if history.surroundings else ()
    return any(each.test.kind == kind and place in (None, each.test.place) for each in held)


def _tested_since(seen: Seen) -> str:
    later = seen.parts.get("later")
    if not later:
        return ""
    parts = {
        "figure": figure(later["value"] or 0.0, unit="mg/L"),
        "day": day(date.fromisoformat(later["day"])),
        "clock": told_clock(time.fromisoformat(later["clock"])),
        "count": later["count"],
    }
    return str(LATER_PASSED % parts)


LATER_PASSED = ngettext_lazy(
    "Tested again since: %(figure)s on %(day)s at %(clock)s, within the limit.",
    "Tested again %(count)d times since, each within the limit; last %(figure)s on %(day)s at %(clock)s.",
    "count",
)


def _noted_with(seen: Seen) -> str:
    """What the patient wrote beside the last test that was beyond."""
    parts = seen.evidence[-1].parts
    words = " ".join(each for each in (parts.get("note"), parts.get("reason")) if each)
    return gettext("Noted with it: “%(words)s”.") % {"words": words} if words else ""


def _chlorine_advice(seen: Seen) -> str:
    """What the phone does now, and only where it does."""
    if not seen.parts.get("stops"):
        return ""
    return gettext(
        "Until a later test from the same place passes and the unit releases the water, the phone at this home says "
        "not to begin."
    )


def _say_chlorine(seen: Seen) -> str:
    last = seen.evidence[-1].day
    values = [item.value or 0.0 for item in seen.evidence if item.day == last]
    parts = {
        "figure": figure(max(values), unit="mg/L"),
        "day": day(last),
        "limit": figure(seen.parts["limit"], unit="mg/L"),
        "action": figure(seen.parts["action"] or 0.0, unit="mg/L"),
    }
    if seen.parts["failed"]:
        said = [gettext("Total chlorine %(figure)s on %(day)s, over the limit of %(limit)s.") % parts]
    else:
        words = gettext("Total chlorine %(figure)s on %(day)s: from %(action)s on act, the limit is %(limit)s.")
        said = [words % parts]
    if seen.parts["failed"] and seen.parts["begun"]:
        said.append(gettext("The treatment was begun all the same."))
    return " ".join(each for each in (*said, _tested_since(seen), _noted_with(seen)) if each)


def _both_levels(seen: Seen) -> str:
    unit = "mg/L"
    limit = gettext("at most %(limit)s") % {"limit": figure(seen.parts["limit"], unit=unit)}
    if seen.parts["action"] is None:
        return limit
    return gettext("%(limit)s, action from %(action)s") % {
        "limit": limit,
        "action": figure(seen.parts["action"], unit=unit),
    }


def _chlorine_passed(history: History, last: date) -> Remark | None:
    """Over when a test of the water apart from a treatment passes, or three tests before treatments do; never while
    the water is held back.
    """
    tests = _chlorine_of(history)
    after = _after_beyond(tests)
    if not after or after[-1][0].day < last or _is_held(history, WaterKind.TOTAL_CHLORINE):
        return None
    if not any(apart for _item, _grade, apart in after) and len(after) < CLEAN_CHECKS:
        return None
    newest = after[-1][0]
    return Remark("water_inside", {"count": len(after), "value": newest.value, "day": newest.day.isoformat()})


def _chlorine_unknown(history: History) -> Iterator[NotJudged]:
    if not _chlorine_of(history) and history.finished:
        yield NotJudged(None, Remark(NOT_NOTED))


CHLORINE = Rule(
    key="chlorine",
    title=_("Chlorine in the water"),
    about=_("total chlorine"),
    family=Family.WATER,
    urgency=Urgency.CALL_TODAY,
    see=_see_chlorine,
    say=_say_chlorine,
    source=_(
        "ISO 23500-3:2019: total chlorine 0.1 mg/L at most, or the unit's own figure; the action level is common "
        "practice"
    ),
    limit_words=_both_levels,
    reads=frozenset({"checks"}),
    holds=_("each time; today when over the limit, this week from the action level on"),
    over=_("when a test of the water passes and the unit has released it, or three tests before treatments pass"),
    passed=_chlorine_passed,
    not_judged=_chlorine_unknown,
    reasons={NOT_NOTED: _("no chlorine test was noted")},
    may_be_muted=False,
    advice_words=_chlorine_advice,
)


def _limit_of(history: History, test: WaterTest) -> WaterLimit | None:
    return history.surroundings.standard.limit(test.fluid, test.kind) if history.surroundings else None


def grade_of(history: History, test: WaterTest) -> Grade | None:
    """Of one result; None where the standard holds no figure or the method was too coarse."""
    found = history.surroundings.standard.grade(test).number if history.surroundings else None
    return None if found is None else Grade(int(found))


def _samples(history: History) -> list[WaterTest]:
    around = history.surroundings
    return [test for test in around.water if _is_judged(around.standard, test)] if around else []


def _is_judged(standard: Standard, test: WaterTest) -> bool:
    return test.kind in SAMPLES or (test.kind in OF_THE_UNIT and standard.is_own(test.fluid, test.kind))


def _since_clean(history: History, kind: str, place: str) -> list[WaterTest]:
    """The results of one kind from one place since it last passed; none when the newest passed, unless the water is
    held back: then since it passed before.
    """
    own = [test for test in _samples(history) if (test.kind, test.place) == (kind, place)]
    over = [index for index, test in enumerate(own) if grade_of(history, test) == Grade.FAIL]
    until = over[-1] if over and _is_held(history, kind, place) else len(own)
    clean = [index for index, test in enumerate(own[:until]) if grade_of(history, test) == Grade.PASS]
    return own[clean[-1] + 1 :] if clean else own


def _see_quality(history: History, at: datetime) -> Iterator[Seen]:
    for kind, place in sorted({(test.kind, test.place) for test in _samples(history)}):
        since = _since_clean(history, kind, place)
        beyond = [test for test in since if (grade_of(history, test) or 0) > Grade.PASS]
        if beyond:
            yield _seen_quality(history, beyond, since[-1])


def _seen_quality(history: History, tests: list[WaterTest], last: WaterTest) -> Seen:
    """tests: those that are beyond; last: the newest from there, which may have passed."""
    newest = tests[-1]
    passed = None if last is newest else last.sampled_at.astimezone(history.zone).date().isoformat()
    limit = _limit_of(history, newest)
    assert limit is not None  # a grade was given against it
    failed = any(grade_of(history, test) == Grade.FAIL for test in tests)
    return Seen(
        f"{newest.kind}:{newest.place}",
        tuple(_sample(history, test) for test in tests),
        parts={
            "failed": failed,
            "level": _level(limit, failed=failed),
            "limit": limit.limit,
            "action": limit.action,
            "edition": str(history.surroundings.standard.edition) if history.surroundings else "",
            "own": bool(history.surroundings and history.surroundings.standard.is_own(newest.fluid, newest.kind)),
            "passed": passed,
        },
        urgency=Urgency.CALL_TODAY if failed else Urgency.THIS_WEEK,
    )


def _level(limit: WaterLimit, *, failed: bool) -> float:
    """What a result is beyond: the limit, or the level at which to act."""
    return limit.limit if failed else limit.action or limit.limit


def _named(*, failed: bool) -> dict[str, bool]:
    """Which of two levels the kept one is: both have a name of their own."""
    return {} if failed else {ACTION_LEVEL: True}


def _sample(history: History, test: WaterTest) -> Evidence:
    limit, failed = _limit_of(history, test), grade_of(history, test) == Grade.FAIL
    return Evidence(
        kind=f"water.{test.kind}",
        at=test.sampled_at,
        day=test.sampled_at.astimezone(history.zone).date(),
        value=test.value,
        limit=_level(limit, failed=failed) if limit else None,
        place=test.place,
        parts={"unit": test.unit, "fluid": test.fluid} | _named(failed=failed or limit is None or limit.action is None),
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
    sampled = gettext("%(what)s %(figure)s in %(fluid)s, %(place)s, sampled on %(day)s") % parts
    said = f"{sampled}: {_where(newest, seen)}."
    passed = seen.parts.get("passed")
    if not passed:
        return said
    again = gettext("Sampled again on %(day)s, within the limit; nobody has released the water yet.")
    return f"{said} {again % {'day': day(date.fromisoformat(passed))}}"


def _what_of(seen: Seen) -> str:
    newest = seen.evidence[-1]
    return f"{label_of_evidence(newest)}, {more_of(newest)}"


def _where(newest: Evidence, seen: Seen) -> str:
    """Where the newest result lies, with limit and action level each by its name."""
    unit = unit_of(newest)
    at = newest.value == newest.limit
    level = {"level": figure(newest.limit or 0.0, unit=unit)}
    limit = seen.parts.get("limit", newest.limit)
    if newest.limit == limit:
        return (
            gettext("at the limit of %(level)s, which counts as over") % level
            if at
            else (gettext("over the limit of %(level)s") % level)
        )
    parts = level | {"limit": figure(limit or 0.0, unit=unit)}
    if at:
        return gettext("at the action level of %(level)s, within the limit of %(limit)s") % parts
    return gettext("over the action level of %(level)s, within the limit of %(limit)s") % parts


def _level_words(seen: Seen) -> str:
    unit = unit_of(seen.evidence[-1])
    level = {"level": figure(seen.parts["level"], unit=unit)}
    if seen.parts.get("action") is not None:
        both = {"limit": figure(seen.parts["limit"], unit=unit), "action": figure(seen.parts["action"], unit=unit)}
        return gettext("the limit: %(limit)s; the level at which to act: %(action)s") % both
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
        if grade_of(history, test) is None:
            yield NotJudged(None, Remark("no_figure", {"fluid": test.get_fluid_display()}))


STANDARD = cited(_("the edition of the standard that the unit has chosen; see ISO 23500-3 and -5:2019"), Status.SEEN)
QUALITY = Rule(
    key="water_quality",
    title=_("Water beyond its limit"),
    naming=_what_of,
    about=_("cultures and endotoxin of the water"),
    family=Family.WATER,
    urgency=Urgency.THIS_WEEK,
    see=_see_quality,
    say=_say_quality,
    source=STANDARD,
    limit_words=_level_words,
    source_words=_standard_words,
    over=_("when the next sample from the same place passes and, after one over the limit, the unit has released it"),
    not_judged=_quality_unknown,
    reasons={
        "no_sample": _("no culture and no endotoxin of the water is noted"),
        "no_figure": _("the unit's standard has no figure for %(fluid)s, or the method is coarse"),
    },
    by_time=True,
    may_be_muted=False,
    advice=_(
        "Over the limit: disinfect the machine and sample again from the same place; until a sample passes and the "
        "unit releases the water, the phone at this home says not to begin. At the action level: sample again and "
        "look for the cause."
    ),
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
    at_once=True,
)

RULES = (CHLORINE, QUALITY, OVERDUE)
