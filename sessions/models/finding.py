"""What was found of a person beside treatments and bloods."""

from __future__ import annotations

from typing import ClassVar

import pghistory
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from homedialysis.accounts.services.dates import short_day
from sessions.facts.findings import SPECS, FindingKind, refusals, words_of_values
from sessions.models.outcomes import NotedOutcome
from sessions.models.patient import Patient, VascularAccess
from sessions.models.querysets import EntryQuerySet


@pghistory.track()
class Finding(NotedOutcome):
    """One finding of one day. values: by the keys that `facts.findings.SPECS` declares for its kind."""

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="findings")
    access = models.ForeignKey(
        VascularAccess, null=True, blank=True, on_delete=models.PROTECT, related_name="+", verbose_name=_("access")
    )
    kind = models.CharField(_("kind"), max_length=14, choices=FindingKind)
    found_on = models.DateField(_("on"))
    values = models.JSONField(default=dict)
    words = models.CharField(_("in words"), max_length=300, blank=True)

    objects = EntryQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-found_on", "-pk"]
        indexes: ClassVar = [models.Index(fields=["patient", "kind", "-found_on"], name="finding_of_patient")]
        constraints: ClassVar = [
            models.CheckConstraint(
                name="finding_of_access_has_one",
                condition=Q(access__isnull=False) | ~Q(kind__in=[FindingKind.ACCESS_FLOW, FindingKind.ACCESS_LOOK]),
                violation_error_message=_("Say of which access."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.text}" if self.text else str(self.get_kind_display())

    @property
    def text(self) -> str:
        """Its values in words."""
        return words_of_values(self.kind, self.values)

    @property
    def said(self) -> str:
        """All that is noted of it, in one sentence."""
        parts = (str(self), short_day(self.found_on), str(self.access or ""), self.words)
        return "; ".join(filter(None, parts))

    def clean(self) -> None:
        if self.kind not in SPECS:
            return
        if why := refusals(self.kind, self.values):
            raise ValidationError("; ".join(why.values()))
        if self.access_id and self.access and self.access.patient_id != self.patient_id:
            raise ValidationError({"access": gettext("This access is another patient’s.")})
        if not SPECS[self.kind].of_access:
            self.access = None
