"""What the rules saw in a record, and what none could judge of it."""

from __future__ import annotations

from django.db import models

from sessions.models import TreatmentRecord


class RecordJudgement(models.Model):
    """What the rules saw in a record, what they could not judge and why, and the revision that was looked at.

    found: each thing seen, as `rules.base.Evidence.as_json` writes it, with its rule; not_judged: why not, as
    `rules.base.Remark.as_json` writes it, with the rule that could not. rules: the version of the rules.
    """

    record = models.OneToOneField(TreatmentRecord, primary_key=True, on_delete=models.CASCADE, related_name="judgement")
    revision = models.PositiveIntegerField()
    judged_at = models.DateTimeField()
    not_judged = models.JSONField(default=list, help_text='List of {"rule", "code", "parts"}.')
    found = models.JSONField(default=list, help_text='List of {"rule", "kind", "at", "value", "limit", …}.')
    rules = models.CharField(max_length=20, blank=True)

    def __str__(self) -> str:
        return f"Judgement of {self.record_id}"
