"""The monthly review: its ranges, the judgement that is signed and frozen, what is added, released and planned."""

from __future__ import annotations

from typing import ClassVar

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from sessions.models import Patient
from sessions.models.querysets import OfPatientQuerySet


class ReviewRange(models.Model):
    """A range of the monthly review as the unit set it. Rows are only added: the newest of a number holds.

    low and high None: open at that end; `default`: the published one holds again.
    """

    number = models.CharField(max_length=40)
    low = models.FloatField(null=True, blank=True)
    high = models.FloatField(null=True, blank=True)
    default = models.BooleanField(default=False)
    why = models.TextField()
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["-set_at", "-pk"]
        triggers: ClassVar = [
            pgtrigger.Protect(name="review_range_append_only", operation=pgtrigger.Update | pgtrigger.Delete)
        ]
        constraints: ClassVar = [
            models.CheckConstraint(
                name="review_range_in_order",
                condition=Q(low=None) | Q(high=None) | Q(low__lte=F("high")),
                violation_error_message=_("The lower end must not lie above the upper one."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.number} from {self.set_at:%Y-%m-%d}"


class MonthlyReview(models.Model):
    """The nephrologist's judgement of one patient's month.

    Open until it is signed; a signed one never changes: `frozen` keeps the numbers, the ranges and the prescription
    as they were, and what has to be put right afterwards is an addendum.
    """

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="reviews")
    month = models.DateField()
    words = models.TextField(_("judgement"), blank=True)
    for_patient = models.TextField(_("in plain words for the patient"), blank=True)
    frozen = models.JSONField(default=dict)
    written_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField()
    signed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    signed_at = models.DateTimeField(null=True, blank=True)

    objects = OfPatientQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-month"]
        constraints: ClassVar = [
            models.UniqueConstraint(name="review_once_a_month", fields=["patient", "month"]),
            models.CheckConstraint(
                name="review_signed_by_somebody",
                condition=Q(signed_at=None, signed_by=None) | Q(signed_at__isnull=False, signed_by__isnull=False),
            ),
        ]
        triggers: ClassVar = [
            pgtrigger.Protect(
                name="review_signed_stays",
                operation=pgtrigger.Update | pgtrigger.Delete,
                condition=pgtrigger.Q(old__signed_at__isnull=False),
            )
        ]

    def __str__(self) -> str:
        return f"Review of {self.month:%Y-%m} for {self.patient}"


class ReviewAddendum(models.Model):
    """What was put right or added after a review was signed. Rows are only ever added."""

    review = models.ForeignKey(MonthlyReview, on_delete=models.PROTECT, related_name="addenda")
    words = models.TextField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["pk"]
        triggers: ClassVar = [
            pgtrigger.Protect(name="addendum_append_only", operation=pgtrigger.Update | pgtrigger.Delete)
        ]

    def __str__(self) -> str:
        return f"Addendum of {self.at:%Y-%m-%d}"


class ReviewRelease(models.Model):
    """The plain-language page of a signed review, released to the patient."""

    review = models.OneToOneField(MonthlyReview, on_delete=models.PROTECT, related_name="release")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"Released on {self.at:%Y-%m-%d}"


class PlanItem(models.Model):
    """Something that a review decided: who does it, and until when."""

    review = models.ForeignKey(MonthlyReview, on_delete=models.PROTECT, related_name="plan")
    words = models.CharField(_("what"), max_length=300)
    owner = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    due_on = models.DateField(_("until"))
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    done_words = models.CharField(_("what was done"), max_length=300, blank=True)

    class Meta:
        ordering: ClassVar = ["due_on", "pk"]
        indexes: ClassVar = [models.Index(fields=["due_on"], name="plan_open", condition=Q(done_at=None))]

    def __str__(self) -> str:
        return self.words
