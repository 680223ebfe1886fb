"""Who is told when nobody looks: the unit's times for alerts, turns of the rota, and absences."""

from __future__ import annotations

from datetime import timedelta
from typing import ClassVar

import pghistory
from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from homedialysis.accounts.models import Weekday
from homedialysis.accounts.services.dates import short_day, told_clock
from sessions.models.querysets import StaffOnlyQuerySet


class RoutineManager(models.Manager["Routine"]):
    def current(self) -> Routine:
        """The unit's times, or the defaults where it has set none."""
        return self.first() or Routine()


@pghistory.track()
class Routine(models.Model):
    """The unit's times for alerts; one row. Both defaults are common practice, without a source."""

    only = models.BooleanField(default=True, editable=False, unique=True)
    seen_within_minutes = models.PositiveSmallIntegerField(
        _("an urgent alert is looked at within (minutes of opening hours)"),
        default=30,
        validators=[MinValueValidator(5), MaxValueValidator(480)],
        help_text=_("After that the next on the rota gets a message. 5 to 480."),
    )
    reopen_days = models.PositiveSmallIntegerField(
        _("a closed alert goes on when the same comes back within (days)"),
        default=14,
        validators=[MaxValueValidator(90)],
        help_text=_("Later, or with 0, a new alert opens. 0 to 90."),
    )

    objects = RoutineManager()

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(name="routine_only_one", condition=Q(only=True))]

    def __str__(self) -> str:
        return f"seen within {self.seen_within_minutes} min, goes on within {self.reopen_days} days"

    @property
    def seen_within(self) -> timedelta:
        return timedelta(minutes=self.seen_within_minutes)


@pghistory.track()
class RotaTurn(models.Model):
    """Who is told of an unseen alert on one weekday between two times of the unit's clock; the lowest place first."""

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="rota_turns", verbose_name=_("person")
    )
    weekday = models.PositiveSmallIntegerField(_("weekday"), choices=Weekday)
    begins = models.TimeField(_("from"))
    ends = models.TimeField(_("until"))
    place = models.PositiveSmallIntegerField(_("place"), default=1, validators=[MinValueValidator(1)])

    objects = StaffOnlyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["weekday", "place", "begins", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(name="rota_turn_in_order", condition=Q(ends__gt=F("begins"))),
            models.UniqueConstraint(
                name="rota_turn_once",
                fields=["person", "weekday", "begins"],
                violation_error_message=_("This person has a turn that begins then."),
            ),
        ]

    def __str__(self) -> str:
        parts = {"person": self.person, "day": self.get_weekday_display()}
        parts |= {"begins": told_clock(self.begins), "ends": told_clock(self.ends)}
        return gettext("%(person)s, %(day)s %(begins)s to %(ends)s") % parts


@pghistory.track()
class Absence(models.Model):
    """Days on which somebody is not told, whatever the rota says."""

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="absences", verbose_name=_("person")
    )
    first_day = models.DateField(_("from"))
    last_day = models.DateField(_("up to and including"))

    objects = StaffOnlyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["first_day", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(name="absence_in_order", condition=Q(last_day__gte=F("first_day")))
        ]

    def __str__(self) -> str:
        parts = {"person": self.person, "first": short_day(self.first_day), "last": short_day(self.last_day)}
        return gettext("%(person)s from %(first)s to %(last)s") % parts
