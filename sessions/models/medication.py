"""What a patient takes between treatments."""

from __future__ import annotations

from datetime import date
from typing import ClassVar, Self

import pghistory
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from homedialysis.accounts.services.dates import short_day
from sessions.facts.medicines import (
    ATC_CODE,
    GROUPS,
    DosePeriod,
    DoseUnit,
    MedicationKind,
    dose_words,
    medicine_words,
    substance_of,
    weekly_amount,
)
from sessions.models.outcomes import NotedOutcome
from sessions.models.patient import Patient
from sessions.models.querysets import EntryQuerySet

MOST_AMOUNT, MOST_TIMES = 1_000_000, 100


class MedicationQuerySet(EntryQuerySet):
    def taken_on(self, day: date) -> Self:
        """Those that stand and are taken on a day."""
        return self.taken_between(day, day)

    def taken_between(self, first: date, last: date) -> Self:
        """Those that stand and are taken on some day of a time."""
        return self.standing().filter(Q(until_on=None) | Q(until_on__gte=first), from_on__lte=last)


@pghistory.track()
class Medication(NotedOutcome):
    """One medicine in one dose, from a day on. Another dose is another row, so that the dose of each day is known.

    until_on: the last day on which it is taken, None while it goes on; ended_because: why it was stopped or changed.
    Without an amount the dose is not known; without times it is taken when needed.
    """

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="medications")
    kind = models.CharField(_("kind"), max_length=14, choices=MedicationKind)
    name = models.CharField(_("name of the substance"), max_length=80)
    atc = models.CharField(
        _("ATC code"), max_length=7, blank=True, help_text=_("Left empty, that of the name where it is known.")
    )
    amount = models.FloatField(_("dose each time"), null=True, blank=True)
    unit = models.CharField(_("unit"), max_length=8, choices=DoseUnit, blank=True)
    times = models.FloatField(_("how many times"), null=True, blank=True, help_text=_("Empty: when needed."))
    period = models.CharField(_("in"), max_length=6, choices=DosePeriod, blank=True)
    from_on = models.DateField(_("from"))
    until_on = models.DateField(_("last taken on"), null=True, blank=True)
    why = models.CharField(_("what for"), max_length=120, blank=True)
    words = models.CharField(_("how it is taken"), max_length=200, blank=True)
    ended_because = models.CharField(_("stopped because"), max_length=200, blank=True)

    objects = MedicationQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-from_on", "-pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                name="medication_in_order",
                condition=Q(until_on=None) | Q(until_on__gte=F("from_on")),
                violation_error_message=_("The last day must not lie before the first."),
            ),
            models.CheckConstraint(
                name="medication_dose_whole",
                condition=(Q(amount=None, unit="") | (Q(amount__gt=0) & ~Q(unit="")))
                & (Q(times=None, period="") | (Q(times__gt=0) & ~Q(period=""))),
                violation_error_message=_("A dose needs its unit, and how often it is taken needs a time."),
            ),
            models.UniqueConstraint(
                name="medication_once",
                fields=["patient", "name", "from_on"],
                condition=Q(taken_back=""),
                violation_error_message=_("This medicine is entered from this day already."),
            ),
        ]

    def __str__(self) -> str:
        return medicine_words(*self.dose_parts)

    @property
    def dose_parts(self) -> tuple[str, float | None, str, float | None, str]:
        """What `medicine_words` makes a sentence of, fit for JSON."""
        return self.name, self.amount, self.unit, self.times, self.period

    @property
    def said(self) -> str:
        """All that is noted of it, in one sentence."""
        span = gettext("from %(first)s") % {"first": short_day(self.from_on)}
        if self.until_on:
            parts = {"first": short_day(self.from_on), "last": short_day(self.until_on)}
            span = gettext("%(first)s to %(last)s") % parts
        return "; ".join(filter(None, (str(self), span, self.why, self.words, self.ended_because)))

    def clean(self) -> None:
        """Fill in the code where the name tells it, and refuse what no dose can be."""
        self.name, self.atc = self.name.strip(), self.atc.strip().upper()
        known = substance_of(self.name)
        if not self.atc and known:
            self.atc = known.atc
        problems = {}
        if self.atc and not ATC_CODE.fullmatch(self.atc):
            problems["atc"] = gettext("“%(given)s” is no ATC code: write one such as B03XA02.") % {"given": self.atc}
        for name, most in (("amount", MOST_AMOUNT), ("times", MOST_TIMES)):
            given = getattr(self, name)
            if given is not None and not 0 < given <= most:
                words = gettext("Must be above 0 and at most %(most)s; %(given)g was given.")
                problems[name] = words % {"most": most, "given": given}
        if problems:
            raise ValidationError(problems)

    @property
    def dose(self) -> str:
        """The dose in words, "" where it is not known."""
        return dose_words(self.amount, self.unit, self.times, self.period)

    @property
    def weekly(self) -> float | None:
        """How much of it in a week, in the unit of the dose."""
        return weekly_amount(self.amount, self.times, self.period)

    @property
    def code(self) -> str:
        """Its ATC code, else that of its kind; "" where neither is known."""
        return self.atc or GROUPS.get(self.kind, "")

    def goes_on_after(self, day: date) -> bool:
        """Whether it is taken on a day and on the next: what was stopped with that day is not taken any more."""
        return self.taken_on(day) and self.until_on != day

    def taken_on(self, day: date) -> bool:
        return self.from_on <= day and (self.until_on is None or day <= self.until_on)
