"""Somebody who leaves hands over: alerts in their hands, turns of the rota, and what reviews left to them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from alerts.models import Alert, AlertStep, RotaTurn
from alerts.models.choices import StepKind
from dosing.models import PlanItem
from homedialysis.accounts.models import User


@dataclass(frozen=True, slots=True)
class InHand:
    """What one person has in hand."""

    alerts: list[Alert]
    turns: list[RotaTurn]
    plan: list[PlanItem]

    @property
    def nothing(self) -> bool:
        return not (self.alerts or self.turns or self.plan)


def in_hand_of(person: User) -> InHand:
    """Three queries."""
    open_plan = PlanItem.objects.filter(owner=person, done_at=None).select_related("review__patient")
    return InHand(
        list(Alert.objects.open().filter(assigned_to=person).select_related("patient")),
        list(RotaTurn.objects.filter(person=person).select_related("person")),
        list(open_plan),
    )


@transaction.atomic
def hand_over(*, person: User, to: User, by: User, at: datetime) -> None:
    """Give all of it to somebody else; each alert tells it among its steps. Raises ValidationError naming `to`."""
    if to == person or not to.is_clinical:
        words = _("%(person)s is no other nurse or nephrologist who can sign in.") % {"person": to}
        raise ValidationError({"to": words})
    words = _("handed over by %(person)s") % {"person": person.name}
    for alert in Alert.objects.open().filter(assigned_to=person).locked():
        alert.assigned_to = to
        alert.save(update_fields=["assigned_to"])
        AlertStep.objects.create(alert=alert, kind=StepKind.ASSIGNED, who=by, to=to, words=words, at=at)
    held = in_hand_of(person)
    for turn in held.turns:
        _give(turn, to)
    for item in held.plan:
        item.owner = to
        item.save(update_fields=["owner"])


def _give(turn: RotaTurn, to: User) -> None:
    """One who has a turn at that time already keeps it: the other one goes."""
    if RotaTurn.objects.filter(person=to, weekday=turn.weekday, begins=turn.begins).exists():
        turn.delete()
        return
    turn.person = to
    turn.save(update_fields=["person"])
