"""The fixed words of alerts that models, rules, forms and pages share."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class Urgency(models.IntegerChoices):
    """How soon the patient wants a call; the smaller the number, the sooner."""

    CALL_TODAY = 1, _("Call today")
    THIS_WEEK = 2, _("This week")
    AT_REVIEW = 3, _("At the review")

    @property
    def slug(self) -> str:
        return self.name.lower().replace("_", "-")

    @property
    def tone(self) -> str:
        return f"tone-{self.slug}"


class Family(models.TextChoices):
    """What a rule is about, in the order in which pages list them."""

    SAFETY = "safety", _("Safety")
    FLUID = "fluid", _("Fluid and weight")
    PRESSURE = "pressure", _("Blood pressure")
    SYMPTOMS = "symptoms", _("Symptoms")
    DOSE = "dose", _("Dose")
    ACCESS = "access", _("Access")
    CIRCUIT = "circuit", _("Circuit")
    COMPOSITION = "composition", _("Dialysis fluid")
    WATER = "water", _("Water")
    BLOODS = "bloods", _("Bloods")
    PROCESS = "process", _("Records and supplies")


class AlertState(models.TextChoices):
    OPEN = "open", _("open")
    CLOSED = "closed", _("closed")


class StepKind(models.TextChoices):
    OPENED = "opened", _("Opened")
    EVIDENCE = "evidence", _("Evidence")
    CAUSE_GONE = "cause_gone", _("Cause gone")
    CAUSE_PASSED = "cause_passed", _("Cause passed")
    CAUSE_BACK = "cause_back", _("Cause back")
    BACK_AGAIN = "back_again", _("Back again")
    TOLD = "told", _("Message sent on")
    RETURNED = "returned", _("Back from being set aside")
    SEEN = "seen", _("Seen")
    NOTE = "note", _("Note")
    CALL = "call", _("Call")
    ASSIGNED = "assigned", _("Assigned")
    SET_ASIDE = "set_aside", _("Set aside")
    CLOSED = "closed", _("Closed")
    REOPENED = "reopened", _("Opened again")


class ReplayState(models.TextChoices):
    RUNNING = "running", _("at work")
    STOPPED = "stopped", _("stopped")
    DONE = "done", _("done")


class Outcome(models.TextChoices):
    """What came of an alert, in the words of the nurse's form."""

    SPOKEN = "spoken", _("Spoken with the patient")
    VISIT = "visit", _("Visit or clinic appointment arranged")
    PHYSICIAN = "physician", _("Handed to the nephrologist")
    HOSPITAL = "hospital", _("Sent to hospital or emergency care")
    RECORD_WRONG = "record_wrong", _("The record was wrong")
    KNOWN = "known", _("Known and accepted, nothing to do now")
    OTHER = "other", _("Something else")


NO_ACTION = (Outcome.RECORD_WRONG, Outcome.KNOWN)
"""Outcomes after which nothing was done for the patient: what a unit prunes its alerts by."""


class CallResult(models.TextChoices):
    REACHED = "reached", _("Reached")
    MESSAGE = "message", _("Left a message")
    NO_ANSWER = "no_answer", _("No answer")


class Channel(models.TextChoices):
    EMAIL = "email", _("E-mail")
    PUSH = "push", _("Message to a browser")
