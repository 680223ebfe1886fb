"""Which water of a home is held back, and why: over its limit, or not released since by anybody. One judgement for
phone, water page, readiness and alert.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from sessions.models import WaterTest

FAIL = 2
"""The grade of a result over its limit, as `register_judge` has it."""


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
        return date_format(test.sampled_at.astimezone(self.zone), "j M Y")


def held_of(
    tests: Iterable[WaterTest], grades: Mapping[uuid.UUID, int], released: Collection[uuid.UUID], zone: ZoneInfo
) -> list[Held]:
    """What is held back, in order of sampling. tests: of one home, standing, oldest first; released: ids of tests.

    A sample whose grade is not known clears nothing, and a clean one from elsewhere neither.
    """
    places: defaultdict[tuple[str, str], list[WaterTest]] = defaultdict(list)
    for test in tests:
        if test.pk in grades:
            places[test.kind, test.place].append(test)
    found = []
    for own in places.values():
        over = [test for test in own if grades[test.pk] == FAIL]
        if over and over[-1] is own[-1]:
            found.append(Held(own[-1], None, zone))
        elif over and over[-1].pk not in released:
            found.append(Held(over[-1], own[-1], zone))
    return sorted(found, key=lambda held: held.test.sampled_at)
