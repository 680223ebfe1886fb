"""What is kept of alerts in codes and values, put into the reader's language: title, sentence, limit, steps, reasons.

Rules change: an alert whose rule is no longer there, or wants parts that were not kept with it, is told of plainly, by
its newest evidence.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from django.utils.text import capfirst
from django.utils.translation import gettext

from alerts.models import Alert, AlertStep, Mute, RecordJudgement
from alerts.rules import BY_KEY
from alerts.rules.base import SEEN, Evidence, Remark, Rule, Seen
from alerts.rules.evidence_kinds import ACTION_LEVEL, doubt_words, figure_with_unit, label_of_evidence, more_of, shown
from alerts.rules.remarks import remark_words
from alerts.rules.wording import when


def seen_of(alert: Alert) -> Seen:
    """What an alert rests on: the evidence that stands, or where none stands any more what it rested on."""
    current = [item for item in alert.evidence if not item.get("handled")]
    standing = [item for item in current if not item.get("gone")] or current
    return Seen.kept(alert.cause, standing, alert.limit, alert.parts)


def title_of_rule(key: str) -> str:
    """What a rule is called; one that is no longer there by its key."""
    rule = BY_KEY.get(key)
    return str(rule.title) if rule else _by_code(key)


@dataclass(frozen=True, slots=True)
class NamedMute:
    """A mute with the name of its rule."""

    mute: Mute
    title: str


def named(rows: Iterable[Mute]) -> list[NamedMute]:
    return [NamedMute(row, title_of_rule(row.rule)) for row in rows]


def title_of(alert: Alert) -> str:
    """What its rule is called, and which of its causes it is where there may be several of one patient."""
    title, which = title_of_rule(alert.rule), which_of(alert)
    return gettext("%(title)s: %(which)s") % {"title": title, "which": which} if which else title


def which_of(alert: Alert) -> str:
    """Which of its causes it is, where there may be several of one patient; else ""."""
    rule = BY_KEY.get(alert.rule)
    if rule is None or rule.naming is None:
        return ""
    naming, seen = rule.naming, seen_of(alert)
    return _said(rule, lambda _known: naming(seen))


def name_of(alert: Alert) -> str:
    """Title and patient, as a message says which alert it was."""
    return f"{title_of(alert)}: {alert.patient}"


def sentence_of(alert: Alert) -> str:
    """What was seen, in one plain sentence."""
    return sentence(BY_KEY.get(alert.rule), seen_of(alert))


def sentence(rule: Rule | None, seen: Seen) -> str:
    """What a rule says of what it saw, and where a number that it rests on is doubtful, that and why."""
    said = _said(rule, lambda known: known.say(seen)) or _plainly(seen)
    doubt = next((words for item in reversed(seen.evidence) if (words := doubt_words(item))), "")
    return f"{said} {capfirst(doubt)}." if doubt else said


def limit_of(alert: Alert) -> str:
    """The limit by which it was judged, with its unit; "" where there is none."""
    seen = seen_of(alert)
    return _said(BY_KEY.get(alert.rule), lambda known: known.limit_words(seen))


def source_of(alert: Alert) -> str:
    """Who or what says that this limit holds."""
    seen = seen_of(alert)
    return _said(BY_KEY.get(alert.rule), lambda known: known.source_of(seen))


def advice_of(alert: Alert) -> str:
    """What to bear in mind while it stands; "" once its cause is gone or it is closed, for then it is so no more."""
    rule = BY_KEY.get(alert.rule)
    if rule is None or not alert.is_open or alert.cause_gone_at is not None:
        return ""
    words = rule.advice_words
    if words is None:
        return str(rule.advice)
    seen = seen_of(alert)
    return _said(rule, lambda _known: words(seen))


def step_words(step: AlertStep) -> str:
    """What a step says: as somebody typed it, or what the program has to say."""
    if step.call is not None:
        call = step.call
        plan = gettext("Plan: %(plan)s") % {"plan": call.plan} if call.plan else ""
        return " ".join(part for part in (f"{call.get_result_display()}.", call.said, plan) if part)
    if not step.remark:
        return step.words
    remark = Remark.from_json(step.remark)
    if remark.code == SEEN:
        kept = remark.parts
        seen = Seen.kept(kept["cause"], kept["evidence"], kept["limit"], kept["parts"])
        return sentence(BY_KEY.get(step.alert.rule), seen)
    return remark_words(remark, to=step.to)


@dataclass(frozen=True, slots=True)
class Figure:
    """One piece of evidence in words. value, limit: with their unit, "" where there is none.

    level: what the limit is called, "" for the limit itself.
    """

    label: str
    value: str
    limit: str
    more: str
    level: str


def figure_of(item: Evidence) -> Figure:
    value = "" if item.value is None else item.parts.get("bound", "") + figure_with_unit(item, shown(item))
    limit = "" if item.limit is None else figure_with_unit(item, item.limit)
    level = gettext("action level") if item.parts.get(ACTION_LEVEL) else ""
    return Figure(label_of_evidence(item), value, limit, more_of(item), level)


def found_in(judgement: RecordJudgement) -> list[Figure]:
    """What the rules saw in a record."""
    return [figure_of(Evidence.from_json(item)) for item in judgement.found]


@dataclass(frozen=True, slots=True)
class Unjudged:
    """Why something could not be judged, and what it kept from being judged."""

    about: str
    why: str


def unjudged_in(judgement: RecordJudgement) -> list[Unjudged]:
    """What could not be judged of a record, one entry a reason."""
    by_why: dict[str, list[str]] = {}
    for one in judgement.not_judged:
        rule = BY_KEY.get(one["rule"])
        about = str(rule.about) if rule else _by_code(one["rule"])
        by_why.setdefault(why_not(rule, Remark.from_json(one)), []).append(about)
    return [Unjudged(", ".join(abouts), why) for why, abouts in by_why.items()]


def why_not(rule: Rule | None, why: Remark) -> str:
    """Why a rule could not judge."""
    return remark_words(why, rule.reasons if rule else {})


def _said(rule: Rule | None, words: Callable[[Rule], str]) -> str:
    """In the rule's words; "" where it is no longer there, or wants what was not kept."""
    try:
        return words(rule) if rule else ""
    except (KeyError, IndexError):
        return ""


def _plainly(seen: Seen) -> str:
    if not seen.evidence:
        return ""
    newest = figure_of(seen.evidence[-1])
    parts = {"what": " ".join(part for part in (newest.label, newest.value) if part), "when": when(seen.evidence)}
    return gettext("%(what)s %(when)s.") % parts


def _by_code(code: str) -> str:
    return code.replace("_", " ").capitalize()
