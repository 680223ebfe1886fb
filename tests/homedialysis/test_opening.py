"""Opening hours on the unit's clock, also on the days on which clocks change."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import translation

from homedialysis.accounts.models import OpeningHours, Unit
from homedialysis.accounts.services.opening import (
    closed_last,
    closes_next,
    is_open,
    looked_at_next,
    open_time_between,
    opens_next,
)
from tests.factories import UnitFactory

LISBON, NEW_YORK = ZoneInfo("Europe/Lisbon"), ZoneInfo("America/New_York")


def lisbon(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=LISBON)  # type: ignore[arg-type]


@pytest.fixture
def always(db: None) -> Unit:
    """Open 8 to 17 on every day of the week, also the Sundays on which clocks change."""
    unit: Unit = UnitFactory()
    for weekday in (5, 6):
        OpeningHours.objects.create(unit=unit, weekday=weekday, opens="08:00", closes="17:00")
    return Unit.objects.get()


@pytest.fixture
def weekdays(unit: Unit) -> Unit:
    return Unit.objects.get()


class TestOpen:
    @pytest.mark.parametrize(
        ("at", "expected"),
        [
            (lisbon(2026, 3, 2, 7, 59), False),
            (lisbon(2026, 3, 2, 8, 0), True),
            (lisbon(2026, 3, 2, 16, 59), True),
            (lisbon(2026, 3, 2, 17, 0), False),
            (lisbon(2026, 3, 7, 12, 0), False),
        ],
    )
    def test_monday_to_friday(self, weekdays: Unit, at: datetime, expected: bool) -> None:
        assert is_open(weekdays, at) is expected

    def test_the_clock_is_the_units_not_the_servers(self, weekdays: Unit) -> None:
        """In July Lisbon is an hour ahead of UTC."""
        assert is_open(weekdays, datetime(2026, 7, 6, 7, 30, tzinfo=UTC))
        assert not is_open(weekdays, datetime(2026, 7, 6, 16, 30, tzinfo=UTC))

    def test_next_and_last(self, weekdays: Unit) -> None:
        saturday = lisbon(2026, 3, 7, 12)
        assert opens_next(weekdays, saturday) == lisbon(2026, 3, 9, 8)
        assert closed_last(weekdays, saturday) == lisbon(2026, 3, 6, 17)
        assert closes_next(weekdays, saturday) is None
        assert closes_next(weekdays, lisbon(2026, 3, 6, 12)) == lisbon(2026, 3, 6, 17)
        assert opens_next(weekdays, lisbon(2026, 3, 6, 12)) == lisbon(2026, 3, 9, 8)

    def test_open_on_one_day_of_the_week(self, weekdays: Unit) -> None:
        """A whole week ahead and a whole week back."""
        OpeningHours.objects.exclude(weekday=0).delete()
        unit = Unit.objects.get()
        monday = lisbon(2026, 3, 9, 12)
        assert opens_next(unit, monday) == lisbon(2026, 3, 16, 8)
        assert closed_last(unit, monday) == lisbon(2026, 3, 2, 17)
        assert closed_last(unit, lisbon(2026, 3, 9, 17)) == lisbon(2026, 3, 9, 17)
        assert opens_next(unit, lisbon(2026, 3, 9, 8)) == lisbon(2026, 3, 16, 8), "it opens now, and then in a week"

    def test_without_hours(self, weekdays: Unit) -> None:
        OpeningHours.objects.all().delete()
        at = lisbon(2026, 3, 2, 12)
        assert not is_open(weekdays, at)
        assert opens_next(weekdays, at) is None
        assert closed_last(weekdays, at) is None


class TestTimeThatCounts:
    def test_over_a_night(self, weekdays: Unit) -> None:
        assert open_time_between(weekdays, lisbon(2026, 3, 2, 16, 40), lisbon(2026, 3, 3, 8, 25)) == timedelta(
            minutes=45
        )

    def test_over_a_weekend(self, weekdays: Unit) -> None:
        assert open_time_between(weekdays, lisbon(2026, 3, 6, 17), lisbon(2026, 3, 9, 8)) == timedelta()

    def test_over_two_weeks(self, weekdays: Unit) -> None:
        """5 hours of Monday, eight whole days of 9, and an hour and a half of Friday."""
        found = open_time_between(weekdays, lisbon(2026, 3, 2, 12), lisbon(2026, 3, 13, 9, 30))
        assert found == timedelta(hours=5 + 8 * 9 + 1.5)

    def test_within_one_day(self, weekdays: Unit) -> None:
        assert open_time_between(weekdays, lisbon(2026, 3, 2, 9), lisbon(2026, 3, 2, 9, 20)) == timedelta(minutes=20)

    def test_backwards_is_none(self, weekdays: Unit) -> None:
        assert open_time_between(weekdays, lisbon(2026, 3, 3, 9), lisbon(2026, 3, 2, 9)) == timedelta()

    @pytest.mark.parametrize("sunday", [(2026, 3, 29), (2026, 10, 25)], ids=["clocks forward", "clocks back"])
    def test_a_day_of_opening_is_nine_hours_also_when_clocks_change(
        self, always: Unit, sunday: tuple[int, int, int]
    ) -> None:
        day = lisbon(*sunday)
        assert open_time_between(always, day, day + timedelta(days=1)) == timedelta(hours=9)
        assert opens_next(always, day) == lisbon(*sunday, 8)

    def test_hours_across_the_change_are_real_hours(self, always: Unit) -> None:
        """From Saturday 16:00 to Sunday 9:00: one hour and one hour, though the night between is an hour shorter."""
        start, end = lisbon(2026, 3, 28, 16), lisbon(2026, 3, 29, 9)
        assert open_time_between(always, start, end) == timedelta(hours=2)
        assert end.astimezone(UTC) - start.astimezone(UTC) == timedelta(hours=16)

    def test_opening_at_an_hour_that_the_clocks_jump_over(self, always: Unit) -> None:
        """1:30 does not exist in Lisbon on 29 March 2026; what is meant is half past two, as clocks then show it."""
        OpeningHours.objects.filter(weekday=6).update(opens="01:30", closes="03:00")
        unit = Unit.objects.get()
        assert opens_next(unit, lisbon(2026, 3, 29)) == datetime(2026, 3, 29, 1, 30, tzinfo=UTC)
        assert open_time_between(unit, lisbon(2026, 3, 29), lisbon(2026, 3, 29, 12)) == timedelta(minutes=30)


class TestWhatThePatientIsTold:
    def test_while_open(self, weekdays: Unit) -> None:
        words = looked_at_next(weekdays, lisbon(2026, 3, 2, 12))
        assert words.startswith("The unit is open until 17:00. This is no alarm: nobody watches it all the time.")
        assert "call the unit on call: 01632 960100. In an emergency call 112." in words

    def test_at_night(self, weekdays: Unit) -> None:
        words = looked_at_next(weekdays, lisbon(2026, 3, 2, 23))
        assert words.startswith("The unit is closed: nobody looks at this until Tuesday 3 March at 08:00.")

    def test_early_on_the_same_day(self, weekdays: Unit) -> None:
        assert "nobody looks at this until 08:00." in looked_at_next(weekdays, lisbon(2026, 3, 2, 3))

    def test_on_the_clock_where_the_patient_lives(self, weekdays: Unit) -> None:
        words = looked_at_next(weekdays, lisbon(2026, 3, 2, 23), zone=NEW_YORK)
        assert "nobody looks at this until Tuesday 3 March at 03:00." in words

    def test_without_hours_or_unit(self, weekdays: Unit) -> None:
        OpeningHours.objects.all().delete()
        assert "Nobody is sure to look at this" in looked_at_next(Unit.objects.get(), lisbon(2026, 3, 2, 12))
        assert "call your unit" in looked_at_next(None, lisbon(2026, 3, 2, 12))

    def test_the_day_is_named_in_the_readers_language(self, weekdays: Unit) -> None:
        with translation.override("es"):
            assert "martes, 3 de marzo" in looked_at_next(weekdays, lisbon(2026, 3, 2, 23))


def test_a_closed_day_is_no_day_of_the_week(weekdays: Unit) -> None:
    """Closed from Thursday 24 December to Monday 4 January: after Wednesday the next opening is Tuesday the 5th."""
    for day in range(12):
        weekdays.closed_days.create(day=date(2026, 12, 24) + timedelta(days=day), name="Holidays")
    unit = Unit.objects.get()
    assert not is_open(unit, lisbon(2026, 12, 24, 12))
    assert opens_next(unit, lisbon(2026, 12, 23, 20)) == lisbon(2027, 1, 5, 8)
    assert closed_last(unit, lisbon(2027, 1, 5, 1)) == lisbon(2026, 12, 23, 17)
    assert open_time_between(unit, lisbon(2026, 12, 24, 0), lisbon(2027, 1, 4, 23)) == timedelta()
    assert "Tuesday 5 January at 08:00" in looked_at_next(unit, lisbon(2026, 12, 26, 12))
