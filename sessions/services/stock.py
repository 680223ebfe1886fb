"""How long a patient's supplies last: what was counted, and came, less what was used since.

Plain arithmetic without a published source. Offered to pages, the phone's kit and the rules of alerts:
`stock_for(patient, today)` answers one `Stock` for each item on the unit's list, in order of name.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _

from sessions.models import Patient, SupplyDelivery, SupplyItem
from sessions.services.surroundings_facts import SurroundingsFacts, facts_of


@dataclass(frozen=True, slots=True)
class Stock:
    """One item at one patient's home.

    have: pieces now, None where never counted; assumed: treatments since the count whose record does not say what
    was used, taken as the list's use per treatment; days: of cover, None with the reason in `why`; short: fewer than
    the list wants; runs_out_on: the first day without; expected: the next delivery that has not come.
    """

    item: SupplyItem
    have: float | None
    counted_at: datetime | None
    assumed: int
    days: int | None
    why: str
    runs_out_on: date | None
    expected: SupplyDelivery | None

    @property
    def short(self) -> bool:
        return self.days is not None and self.days < self.item.cover_days


def days_of_cover(*, have: float, per_treatment: float, treatments_per_week: float) -> int | None:
    """Whole days that whole treatments can be done with what is there; None where nothing is used.

    have and per_treatment in pieces, have not below zero.

    >>> days_of_cover(have=13, per_treatment=2, treatments_per_week=3.5)
    12
    """
    if per_treatment <= 0 or treatments_per_week <= 0:
        return None
    treatments = math.floor(have / per_treatment + 1e-9)
    return math.floor(treatments * 7 / treatments_per_week + 1e-9)


def stock_for(patient: Patient, today: date) -> list[Stock]:
    """The stock of every item on the list, at the end of `today` where the patient lives."""
    return stock_of(facts_of(patient, today))


def stock_of(facts: SurroundingsFacts) -> list[Stock]:
    """The same out of facts that are gathered already."""
    return [_of(item, facts) for item in facts.items]


def _of(item: SupplyItem, facts: SurroundingsFacts) -> Stock:
    coming = [each for each in facts.deliveries if each.item_id == item.pk and each.arrived_at is None]
    expected = coming[0] if coming else None
    count = facts.counts.get(item.pk)
    if count is None:
        return Stock(item, None, None, 0, None, _("never counted"), None, expected)
    came = [each for each in facts.deliveries if each.item_id == item.pk and _since(each.arrived_at, count.counted_at)]
    after = [each for each in facts.treatments if each.at > count.counted_at]
    used = [item.per_treatment if each.used is None else each.used.get(item.pk, 0) for each in after]
    have = max(0.0, count.count + sum(each.came for each in came) - sum(used))
    days, why = _cover(item, facts, have)
    runs_out_on = None if days is None else facts.today + timedelta(days=days)
    assumed = sum(each.used is None for each in after)
    return Stock(item, round(have, 6), count.counted_at, assumed, days, why, runs_out_on, expected)


def _since(arrived_at: datetime | None, counted_at: datetime) -> bool:
    return arrived_at is not None and arrived_at > counted_at


def _cover(item: SupplyItem, facts: SurroundingsFacts, have: float) -> tuple[int | None, str]:
    if facts.per_week is None:
        return None, _("no prescription is in force")
    days = days_of_cover(have=have, per_treatment=item.per_treatment, treatments_per_week=facts.per_week)
    return days, "" if days is not None else _("the list does not say how many a treatment uses")


def for_kit(stock: list[Stock]) -> list[dict[str, Any]]:
    """The key "stock" of the phone's kit: what can be counted and used up, with what is thought to be there."""
    return [
        {
            "id": each.item.pk,
            "name": each.item.name,
            "unit": each.item.unit_word,
            "per_treatment": each.item.per_treatment,
            "have": each.have,
            "counted_at": each.counted_at.isoformat() if each.counted_at else None,
        }
        for each in stock
    ]
