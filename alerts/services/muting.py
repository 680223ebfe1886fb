"""Quiet a rule for one patient for a stated time and reason; who did it stays on record.

A muted rule opens nothing and is judged all the same. What it saw meanwhile opens nothing afterwards either; an alert
that stands already goes on. Rules of the safety family are never muted: see `rules.safety`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from alerts.models import Mute
from alerts.rules import BY_KEY
from homedialysis.accounts.models import User
from homedialysis.accounts.services.dates import short_day
from sessions.models import Patient

LONGEST = timedelta(days=92)
"""A mute is looked at again after a quarter at the latest (common practice, no source)."""


class NotMuted(Exception):
    """Somebody was faster, or its time is over."""


@dataclass(frozen=True, slots=True)
class MuteBook:
    """All mutes of one patient that were ever set, newest first, to be asked without a query."""

    rows: tuple[Mute, ...] = ()

    def at(self, rule: str, at: datetime) -> Mute | None:
        """The mute in force for a rule at a moment."""
        newest = next((row for row in self.rows if row.rule == rule and row.since <= at), None)
        return newest if newest is not None and newest.until is not None and at < newest.until else None

    def in_force(self, at: datetime) -> list[Mute]:
        """All mutes in force, the one that ends first on top."""
        rules = {row.rule for row in self.rows}
        found = [mute for rule in rules if (mute := self.at(rule, at))]
        return sorted(found, key=lambda mute: (mute.until or at, mute.rule))


def mutes_of(patient: Patient) -> MuteBook:
    """One query."""
    return MuteBook(tuple(Mute.objects.filter(patient=patient).select_related("set_by")))


@transaction.atomic
def mute(*, patient: Patient, rule: str, until: datetime | None, why: str, by: User, at: datetime) -> Mute:
    """Open nothing of this rule for this patient until then. A mute that stands is replaced.

    Raises PermissionDenied, and ValidationError by field, saying the limit and what was given.
    """
    _clinical(by)
    problems = {}
    if rule not in BY_KEY:
        problems["rule"] = _("“%(rule)s” is no rule.") % {"rule": rule}
    elif not BY_KEY[rule].may_be_muted:
        problems["rule"] = _("%(title)s is about safety and is never muted.") % {"title": BY_KEY[rule].title}
    if until is None:
        problems["until"] = _("Say until when.")
    elif not at < until <= at + LONGEST:
        problems["until"] = _("Must be after today and within %(days)s days; %(given)s was given.") % {
            "days": LONGEST.days,
            "given": short_day(localtime(until - timedelta(seconds=1))),
        }
    if not why.strip():
        problems["why"] = _("Say why.")
    if problems:
        raise ValidationError(problems)
    return Mute.objects.create(patient=patient, rule=rule, since=at, until=until, why=why.strip(), set_by=by)


@transaction.atomic
def lift(*, patient: Patient, rule: str, why: str, by: User, at: datetime) -> Mute:
    """Hear the rule again from now on. Raises PermissionDenied, ValidationError, NotMuted where nothing is muted."""
    _clinical(by)
    if not why.strip():
        raise ValidationError({"why": _("Say why.")})
    Patient.objects.select_for_update(no_key=True).get(pk=patient.pk)
    if mutes_of(patient).at(rule, at) is None:
        raise NotMuted
    return Mute.objects.create(patient=patient, rule=rule, since=at, until=None, why=why.strip(), set_by=by)


def _clinical(by: User) -> None:
    if not by.is_clinical:
        raise PermissionDenied(_("Only a nurse or a nephrologist mutes a rule."))
