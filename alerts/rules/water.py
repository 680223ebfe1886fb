"""Water: chlorine before a treatment, samples against the unit's edition of the standard, what is overdue."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, Night, NotJudged, Rule, Seen
from alerts.rules.duties import not_around, overdue
from alerts.rules.rule_kinds import Look, outside
from alerts.rules.wording import day
from dosing.science.water import LIMITS, Grade, Limit, classify
from sessions.facts.choices_surroundings import WaterKind
from sessions.models import WaterTest

SAMPLES = (WaterKind.BACTERIA, WaterKind.ENDOTOXIN)
TESTS = frozenset(str(kind) for kind in SAMPLES)
CARE = frozenset({"carbon_change", "water_service"})


def _chlorine_read(night: Night) -> Iterator[Look]:
    """The unit's check for chlorine, by its key or its name."""
    for check in night.checks:
        if check.value is not None and ("chlorine" in check.key or "chlorine" in check.name.lower()):
            yield Look(check.at or night.record.started_at, check.name, check.value, check.unit or "mg/L")


def _chlorine(key: str, title: str, urgency: Urgency, *, at_limit: bool, part_of: tuple[str, ...] = ()) -> Rule:
    return outside(
        key,
        title=title,
        about="total chlorine" if not at_limit else "total chlorine, near the limit",
        family=Family.WATER,
        urgency=urgency,
        read=_chlorine_read,
        limits=(key,),
        at_limit=at_limit,
        form=".2f",
        what="Total chlorine",
        missing="no chlorine test was noted",
        reads="checks",
        part_of=part_of,
        optional=True,
    )


CHLORINE = _chlorine("chlorine", "Chlorine in the water", Urgency.CALL_TODAY, at_limit=False)
CHLORINE_ACTION = _chlorine(
    "chlorine_action",
    "Chlorine in the water near the limit",
    Urgency.THIS_WEEK,
    at_limit=True,
    part_of=("chlorine",),
)


def _limit_of(history: History, test: WaterTest) -> Limit | None:
    edition = history.around.edition if history.around else ""
    return LIMITS.get((edition, test.fluid, test.kind))


def grade(history: History, test: WaterTest) -> Grade | None:
    """Of one result; None where the edition holds no figure or the method was too coarse."""
    edition = history.around.edition if history.around else ""
    found = classify(
        quantity=test.kind,
        fluid=test.fluid,
        edition=edition,
        value=test.value,
        below_detection=float(test.below_detection),
    )
    return Grade(int(found.number)) if found.number is not None else None


def _samples(history: History) -> list[WaterTest]:
    return [test for test in history.around.water if test.kind in SAMPLES] if history.around else []


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
    level = "the limit" if failed else "the level at which to act"
    where = newest.get_place_display()
    return Seen(
        f"{newest.kind}:{newest.place}",
        tuple(_sample(history, test) for test in tests),
        limit_words=f"{level}: {limit.limit if failed else limit.action or limit.limit:g} {limit.unit}",
        source=f"{limit.source} ({limit.status})",
        urgency=Urgency.CALL_TODAY if failed else Urgency.THIS_WEEK,
        sentence=(
            f"{newest.get_kind_display()} {newest.value:g} {newest.unit} in {newest.get_fluid_display()}, {where}, "
            f"sampled on {day(newest.sampled_at.astimezone(history.zone).date())}: at {level}."
        ),
    )


def _sample(history: History, test: WaterTest) -> Evidence:
    limit = _limit_of(history, test)
    on = test.sampled_at.astimezone(history.zone).date()
    return Evidence(
        test.sampled_at,
        on,
        str(test.get_kind_display()),
        test.value,
        test.unit,
        limit.limit if limit else None,
        str(test.get_place_display()),
    )


def _quality_unknown(history: History) -> Iterator[NotJudged]:
    samples = _samples(history)
    if not samples:
        yield NotJudged(None, "no culture and no endotoxin of the water is noted")
    for test in samples[-1:]:
        if grade(history, test) is None:
            yield NotJudged(
                None, f"the unit's standard has no figure for {test.get_fluid_display()}, or the method is coarse"
            )


QUALITY = Rule(
    key="water_quality",
    title="Water beyond its limit",
    about="cultures and endotoxin of the water",
    family=Family.WATER,
    urgency=Urgency.THIS_WEEK,
    see=_see_quality,
    say=lambda seen: seen.sentence,
    source="the edition of the standard that the unit has chosen; see ISO 23500-3 and -5:2019 (seen)",
    over="when the next sample from the same place passes",
    not_judged=_quality_unknown,
    by_time=True,
)

OVERDUE = overdue(
    "water_overdue",
    kinds=TESTS | CARE,
    limit="due_days",
    title="Water test or care overdue",
    about="water tests and care that are due",
    family=Family.WATER,
    urgency=Urgency.THIS_WEEK,
    unknown=lambda history: not_around(history, TESTS | CARE, "no water treatment at home is noted"),
)

RULES = (CHLORINE, CHLORINE_ACTION, QUALITY, OVERDUE)
