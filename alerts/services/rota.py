"""Who is told of an urgent alert that nobody has looked at: the rota's order, without those who are away."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from alerts.models import Absence, RotaTurn
from homedialysis.accounts.models import CLINICAL_ROLES, Role, Unit, User


def order_at(unit: Unit, at: datetime) -> list[User]:
    """Everybody who may be told at a moment, the first to be told first.

    First whose turn it is by the unit's clock, in the order of places; then the other nurses by name, so that a gap
    in the rota leaves nobody untold; those who are away or cannot sign in are left out.
    """
    local = at.astimezone(ZoneInfo(unit.time_zone))
    turns = RotaTurn.objects.filter(weekday=local.weekday(), begins__lte=local.time(), ends__gt=local.time())
    turns = turns.filter(person__is_active=True, person__role__in=CLINICAL_ROLES).select_related("person")
    away = Absence.objects.filter(first_day__lte=local.date(), last_day__gte=local.date())
    absent = set(away.values_list("person_id", flat=True))
    nurses = User.objects.filter(role=Role.NURSE, is_active=True).order_by("name", "pk")
    people = [turn.person for turn in turns.order_by("place", "begins", "pk")] + list(nurses)
    return list({person.pk: person for person in people if person.pk not in absent}.values())
