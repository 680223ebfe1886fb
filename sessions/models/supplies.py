"""Supplies at home, training, and the bloods that are to be drawn."""

from __future__ import annotations

from datetime import date
from typing import ClassVar

import pghistory
from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from sessions.facts import plausible
from sessions.facts.choices import Analyte
from sessions.models.patient import Patient
from sessions.models.querysets import OwnOrUnitQuerySet, UnitListQuerySet
from sessions.models.surroundings import Entry, refuse_impossible
from sessions.texts.ready import coded, topic_of


@pghistory.track()
class SupplyItem(models.Model):
    """Something the unit's patients use up. unit_word: what is counted; cover_days: how long it should last."""

    name = models.CharField(
        _("name"),
        max_length=60,
        unique=True,
        error_messages={"unique": _("The list has an item of this name already.")},
    )
    unit_word = models.CharField(_("counted in"), max_length=30, help_text=_("For example: pieces, bags, pairs."))
    per_treatment = models.FloatField(_("used at a treatment"), help_text=_("0.1 for a pack that lasts ten."))
    cover_days = models.PositiveIntegerField(_("days of cover wanted"), default=14)
    pack_size = models.PositiveIntegerField(_("pieces in a pack"), default=1)
    in_use = models.BooleanField(_("on the list now"), default=True)

    objects = UnitListQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["name"]
        constraints: ClassVar = [
            models.CheckConstraint(
                name="supply_numbers",
                condition=Q(per_treatment__gte=0, pack_size__gte=1),
                violation_error_message=_("Use cannot lie below zero, and a pack holds at least one."),
            )
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        refuse_impossible(
            self, {name: plausible.SURROUNDINGS[name] for name in ("per_treatment", "cover_days", "pack_size")}
        )


@pghistory.track()
class SupplyCount(Entry):
    """How many of an item were there, counted by hand."""

    moment = "counted_at"

    item = models.ForeignKey(SupplyItem, on_delete=models.PROTECT, related_name="+")
    counted_at = models.DateTimeField(_("counted at"))
    count = models.PositiveIntegerField(_("count"))

    class Meta:
        ordering: ClassVar = ["-counted_at"]
        indexes: ClassVar = [models.Index(fields=["patient", "item", "-counted_at"], name="count_of_patient")]

    def clean(self) -> None:
        refuse_impossible(self, {"count": plausible.SURROUNDINGS["count"]})


@pghistory.track()
class SupplyDelivery(Entry):
    """Supplies on their way to a patient, or there: arrived is how many came, where that differs from `count`."""

    moment = "arrived_at"

    item = models.ForeignKey(SupplyItem, on_delete=models.PROTECT, related_name="+", verbose_name=_("item"))
    count = models.PositiveIntegerField(_("count"), help_text=_("Pieces, not packs."))
    expected_on = models.DateField(_("expected on"), null=True, blank=True)
    arrived_at = models.DateTimeField(_("arrived at"), null=True, blank=True)
    arrived = models.PositiveIntegerField(_("how many came"), null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-expected_on"]
        constraints: ClassVar = [
            models.CheckConstraint(
                name="delivery_has_a_day",
                condition=Q(expected_on__isnull=False) | Q(arrived_at__isnull=False),
                violation_error_message=_("Say when it is expected, or when it arrived."),
            ),
            models.CheckConstraint(
                name="delivery_arrived_count",
                condition=Q(arrived=None) | Q(arrived_at__isnull=False),
                violation_error_message=_("Say when it arrived."),
            ),
        ]

    def clean(self) -> None:
        refuse_impossible(self, {"count": plausible.SURROUNDINGS["count"], "arrived": plausible.SURROUNDINGS["count"]})
        if self.count == 0:
            raise ValidationError({"count": gettext("A delivery holds at least 1; 0 was given.")})

    @property
    def came(self) -> int:
        """How many came."""
        return self.count if self.arrived is None else self.arrived


@pghistory.track()
class Training(Entry):
    """Training of the patient, or of one who helps (partner), in a topic; due again on `valid_until` if that is set."""

    moment = "done_on"

    partner = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        verbose_name=_("who helps"),
    )
    topic = models.CharField(_("topic"), max_length=80)
    done_on = models.DateField(_("done on"))
    valid_until = models.DateField(_("due again on"), null=True, blank=True)
    trained_by = models.CharField(_("trained by"), max_length=80)

    class Meta:
        ordering: ClassVar = ["topic", "-done_on"]
        constraints: ClassVar = [
            models.CheckConstraint(
                name="training_days_in_order",
                condition=Q(valid_until=None) | Q(valid_until__gt=F("done_on")),
                violation_error_message=_("It must be due again after the day on which it was done."),
            )
        ]

    PRACTICE: ClassVar = coded("practised")
    """The topic of a treatment that was gone through on the phone for practice: nobody trained anybody in it."""
    SUPERVISED: ClassVar = coded("supervised")
    """Of one of the first treatments, with somebody of the unit beside."""
    ACCESS_CARE: ClassVar = coded("access_care")
    CATHETER_CARE: ClassVar = coded("catheter_care")
    """Both: what an infection of the access makes due, with needles and with a catheter."""

    def clean(self) -> None:
        self.topic = topic_of(self.topic)

    @property
    def who(self) -> str:
        return str(self.partner or self.patient)


@pghistory.track(pghistory.InsertEvent(), pghistory.UpdateEvent(), pghistory.DeleteEvent())
class BloodsDue(models.Model):
    """A panel of bloods that is drawn every so many weeks: for the unit (no patient), or for one patient instead."""

    patient = models.ForeignKey(Patient, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    name = models.CharField(_("panel"), max_length=60)
    analytes = ArrayField(models.CharField(max_length=10, choices=Analyte), verbose_name=_("results in it"))
    every_weeks = models.PositiveIntegerField(_("every so many weeks"), null=True, blank=True)
    stopped = models.BooleanField(_("not drawn here"), default=False)
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()

    objects = OwnOrUnitQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["name"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                name="bloods_due_once",
                fields=["patient", "name"],
                nulls_distinct=False,
                violation_error_message=_("A panel of this name is set already: change that."),
            ),
            models.CheckConstraint(
                name="bloods_due_how_often",
                condition=Q(stopped=True) | Q(every_weeks__isnull=False),
                violation_error_message=_("Say after how many weeks, or that it is not drawn here."),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        refuse_impossible(self, {"every_weeks": plausible.SURROUNDINGS["every_weeks"]})


def months_after(day: date, months: int) -> date:
    """The same day some months later, or the last one of a shorter month.

    >>> months_after(date(2026, 8, 31), 6)
    datetime.date(2027, 2, 28)
    """
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    last = (date(year + (month == 11), (month + 1) % 12 + 1, 1) - date(year, month + 1, 1)).days
    return date(year, month + 1, min(day.day, last))
