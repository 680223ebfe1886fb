"""Which water of a home is held back, and why: over its limit, or not released since by anybody. One judgement for
phone, water page, readiness and alert.
"""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from homedialysis.accounts.services.dates import short_day
from sessions.models import WaterTest


@dataclass(frozen=True, slots=True)
class Held:
    """The newest test of one kind and place that is over its limit and was not released since.

    again: the newest test from there, where it is not over; None while nothing but the bad one is known; zone: in which
    days are told.
    """

    test: WaterTest
    again: WaterTest | None
    zone: ZoneInfo

    @property
    def words(self) -> str:
        """Why the water is held back, with test, place and day, in the language of the reader."""
        said = {
            "test": self.test.get_kind_display(),
            "place": self.test.get_place_display(),
            "day": self._day(self.test),
        }
        if self.again is None:
            return _("%(test)s, %(place)s, %(day)s: over the limit") % said
        words = _("%(test)s, %(place)s, %(day)s: over the limit; sampled again on %(again)s, not released")
        return words % (said | {"again": self._day(self.again)})

    def _day(self, test: WaterTest) -> str:
        return short_day(test.sampled_at.astimezone(self.zone))


def held_of(
    failed: Iterable[WaterTest], known: Iterable[WaterTest], released: Collection[uuid.UUID], zone: ZoneInfo
) -> list[Held]:
    """What is held back, in order of sampling. failed, known: of one home and each kind and place the newest over its
    limit, and the newest whose grade is known; released: ids of tests.

    A sample whose grade is not known clears nothing, and a clean one from elsewhere neither.
    """
    newest = {(test.kind, test.place): test for test in known}
    found = []
    for over in failed:
        last = newest[over.kind, over.place]
        if last.pk == over.pk:
            found.append(Held(over, None, zone))
        elif over.pk not in released:
            found.append(Held(over, last, zone))
    return sorted(found, key=lambda held: held.test.sampled_at)
