"""When a made-up patient is treated, and what the nephrologist orders over the months."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from numpy.random import Generator

from homedialysis.demo.cast import Member, Story
from homedialysis.demo.people import TIME_ZONE

ZONE = ZoneInfo(TIME_ZONE)
CLINIC, NOTICED = time(11, 0), time(6, 30)
SKIPPED = 0.006
"""Share of treatments that steady patients leave out (assumption)."""
REVIEW_DAYS = 30
BEGINS_AGAIN_AFTER = timedelta(hours=14)
"""From the start of a treatment that was broken off to the start of the full one."""
MOVE_TARGET_AT = 0.6
"""kg between true dry weight and target at which the monthly review moves the target (assumption)."""


def at_clock(moment: datetime, clock: time) -> datetime:
    """That time of day, on the unit's wall, on the day of the moment; in UTC."""
    day = moment.astimezone(ZONE).date()
    return datetime.combine(day, clock, tzinfo=ZONE).astimezone(UTC)


def next_working(after: datetime, clock: time) -> datetime:
    """The first moment after another that is that time of day, Monday to Friday, at the unit."""
    at = at_clock(after, clock)
    while at <= after or at.astimezone(ZONE).weekday() >= 5:
        at = at_clock(at + timedelta(days=1), clock)
    return at


def in_last_month(until: datetime, day: int) -> date:
    """That day of the calendar month before the one of `until`."""
    return (until.date().replace(day=1) - timedelta(days=1)).replace(day=day)


def joined_on(member: Member, until: datetime) -> date:
    """Since when the patient is in the programme."""
    return in_last_month(until, member.joins_on) if member.joins_on else until.date() - timedelta(weeks=member.joined)


@dataclass(frozen=True, slots=True)
class Window:
    """The time that is made up: `days` days up to `until`. left_on: the last day of who leaves meanwhile."""

    until: datetime
    days: int
    left_on: date | None = None

    @property
    def begins(self) -> datetime:
        return self.until - timedelta(days=self.days)

    def ago(self, at: datetime) -> float:
        """Days from a moment to the end of the window."""
        return (self.until - at).total_seconds() / 86400

    def of(self, member: Member) -> Window:
        """The part of it in which this patient is in the programme."""
        days = (self.until.date() - joined_on(member, self.until)).days
        left = in_last_month(self.until, member.leaves_on) if member.leaves_on else None
        return Window(self.until, min(self.days, days), left)

    def last_before(self, begun: list[datetime], ago: float) -> datetime | None:
        """The last treatment at least so many days ago; None where the window does not reach."""
        return next((at for at in reversed(begun) if self.ago(at) >= ago), None)


@dataclass(frozen=True, slots=True)
class Orders:
    """What a prescription changes: from when, and to which target weight."""

    at: datetime
    target_kg: float


def _days_of(member: Member, window: Window) -> Iterator[date]:
    """Due days: from the day after the first prescription on, to that of `until`."""
    first = window.begins.astimezone(ZONE).date() + timedelta(days=1)
    last = min(window.until.astimezone(ZONE).date(), window.left_on or date.max)
    if not member.regime.weekdays:
        last -= timedelta(days=1)  # every other day, the last one yesterday: the next is due tomorrow
        begin = first + timedelta(days=(last - first).days % 2)
        yield from (begin + timedelta(days=day) for day in range(0, (last - begin).days + 1, 2))
    else:
        days = (first + timedelta(days=day) for day in range((last - first).days + 1))
        yield from (day for day in days if day.weekday() in member.regime.weekdays)


def starts(member: Member, window: Window, rng: Generator) -> list[datetime]:
    """The moments at which treatments begin, in order; none after `until`, none while the patient sends nothing."""
    found = []
    for day in _days_of(member, window):
        late = timedelta(minutes=float(rng.integers(-15, 26)))
        skipped = rng.random() < SKIPPED
        wall = datetime.combine(day, time(0), tzinfo=ZONE) + timedelta(hours=member.hour) + late
        at = wall.astimezone(UTC)
        if window.begins < at < window.until and not skipped and _is_treated(member.story, window, at):
            found.append(at)
    return _with_what_the_story_says(member.story, window, found)


def _is_treated(story: Story, window: Window, at: datetime) -> bool:
    """Whether the patient is at home and sends something."""
    away = any(stay.ago - stay.days <= window.ago(at) <= stay.ago for stay in story.stays)
    return window.ago(at) >= story.silent_from and not away


def _with_what_the_story_says(story: Story, window: Window, begun: list[datetime]) -> list[datetime]:
    """Without the treatments that are left out, with the one that follows the one that was broken off."""
    left_out = {window.last_before(begun, ago) for ago in story.left_out}
    done = [at for at in begun if at not in left_out]
    broken = window.last_before(done, story.broken_off) if story.broken_off else None
    return sorted([*done, broken + BEGINS_AGAIN_AFTER]) if broken else done


def broken_off(story: Story, begun: list[datetime]) -> datetime | None:
    """The treatment that was broken off, if the story has one."""
    again = {at - BEGINS_AGAIN_AFTER for at in begun} if story.broken_off else set()
    return next((at for at in begun if at in again), None)


def unanswered(member: Member, window: Window, begun: list[datetime]) -> list[datetime]:
    """For each treatment that was due and did not begin: the morning on which it is noticed at the latest."""
    done = {at.astimezone(ZONE).date() for at in begun}
    missed = [day for day in _days_of(member, window) if day not in done]
    mornings = (datetime.combine(day + timedelta(days=3), NOTICED, tzinfo=ZONE).astimezone(UTC) for day in missed)
    return [morning for morning in mornings if window.begins < morning < window.until]


def dry_weight(member: Member, window: Window, at: datetime) -> float:
    """Weight without surplus fluid [kg]: what the target weight should be and, when a body changes, is not."""
    ago, story = window.ago(at), member.story
    lost = story.flesh_per_week * max(0.0, story.flesh_from - ago) / 7 if story.flesh_from else 0.0
    return member.target_kg + member.drift * (window.days - ago) / 30 - lost


def orders(member: Member, window: Window) -> list[Orders]:
    """The first prescription, and one more for each monthly review at which the target weight moves."""
    given = [Orders(at_clock(window.begins, CLINIC), member.target_kg)]
    for review in range(1, window.days // REVIEW_DAYS):
        at = at_clock(window.begins + timedelta(days=review * REVIEW_DAYS), CLINIC)
        dry = dry_weight(member, window, at)
        if not member.story.flesh_from and abs(dry - given[-1].target_kg) > MOVE_TARGET_AT:
            given.append(Orders(at, round(2 * dry) / 2))
    return given


def target_at(given: list[Orders], at: datetime) -> float:
    """The target weight in force at a moment [kg]."""
    return [order.target_kg for order in given if order.at <= at][-1]
