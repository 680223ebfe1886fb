"""The fixed words of alerts that models, rules, forms and pages share."""

from __future__ import annotations

from django.db import models


class Urgency(models.IntegerChoices):
    """How soon the patient wants a call; the smaller the number, the sooner."""

    CALL_TODAY = 1, "Call today"
    THIS_WEEK = 2, "This week"
    AT_REVIEW = 3, "At the review"

    @property
    def slug(self) -> str:
        return self.name.lower().replace("_", "-")

    @property
    def tone(self) -> str:
        return f"tone-{self.slug}"


class AlertState(models.TextChoices):
    OPEN = "open", "open"
    CLOSED = "closed", "closed"


class StepKind(models.TextChoices):
    OPENED = "opened", "Opened"
    EVIDENCE = "evidence", "Evidence"
    CAUSE_GONE = "cause_gone", "Cause gone"
    CAUSE_BACK = "cause_back", "Cause back"
    SEEN = "seen", "Seen"
    NOTE = "note", "Note"
    CLOSED = "closed", "Closed"


class Outcome(models.TextChoices):
    """What came of an alert, in the words of the nurse's form."""

    SPOKEN = "spoken", "Spoken with the patient"
    VISIT = "visit", "Visit or clinic appointment arranged"
    PHYSICIAN = "physician", "Handed to the nephrologist"
    HOSPITAL = "hospital", "Sent to hospital or emergency care"
    RECORD_WRONG = "record_wrong", "The record was wrong"
    KNOWN = "known", "Known and accepted, nothing to do now"
    OTHER = "other", "Something else"
