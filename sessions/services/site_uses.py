"""When each needle site of an access was used."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from sessions.models import SiteUsed, VascularAccess

USES_DAYS, DAYS_SHOWN = 30, 90
"""Uses of a site are counted over the first, and listed over the second."""


@dataclass(frozen=True, slots=True)
class Uses:
    """days: the dates of use in the last DAYS_SHOWN days, newest first, one for each use; lately: in USES_DAYS."""

    days: tuple[date, ...]
    lately: int


NEVER = Uses((), 0)


def uses_of(access: VascularAccess, today: date) -> Mapping[int, Uses]:
    """{site id: its uses} up to today, for the sites that were used: one query."""
    since = today - timedelta(days=DAYS_SHOWN)
    used = SiteUsed.objects.filter(site__access=access, record__night__gt=since, record__night__lte=today)
    days: dict[int, list[date]] = {}
    for site_id, night in used.order_by("-record__night").values_list("site_id", "record__night"):
        days.setdefault(site_id, []).append(night)
    counted_from = today - timedelta(days=USES_DAYS)
    return {site_id: Uses(tuple(found), sum(day > counted_from for day in found)) for site_id, found in days.items()}
