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


class Family(models.TextChoices):
    """What a rule is about, in the order in which pages list them."""

    SAFETY = "safety", "Safety"
    FLUID = "fluid", "Fluid and weight"
    PRESSURE = "pressure", "Blood pressure"
    SYMPTOMS = "symptoms", "Symptoms"
    DOSE = "dose", "Dose"
    ACCESS = "access", "Access"
    CIRCUIT = "circuit", "Circuit"
    COMPOSITION = "composition", "Dialysis fluid"
    WATER = "water", "Water"
    BLOODS = "bloods", "Bloods"
    PROCESS = "process", "Records and supplies"


class AlertState(models.TextChoices):
    OPEN = "open", "open"
    CLOSED = "closed", "closed"


class StepKind(models.TextChoices):
    OPENED = "opened", "Opened"
    EVIDENCE = "evidence", "Evidence"
    CAUSE_GONE = "cause_gone", "Cause gone"
    CAUSE_PASSED = "cause_passed", "Cause passed"
    CAUSE_BACK = "cause_back", "Cause back"
    BACK_AGAIN = "back_again", "Back again"
    TOLD = "told", "Message sent on"
    RETURNED = "returned", "Back from being set aside"
    SEEN = "seen", "Seen"
    NOTE = "note", "Note"
    CALL = "call", "Call"
    ASSIGNED = "assigned", "Assigned"
    SET_ASIDE = "set_aside", "Set aside"
    CLOSED = "closed", "Closed"


class ReplayState(models.TextChoices):
    RUNNING = "running", "at work"
    STOPPED = "stopped", "stopped"
    DONE = "done", "done"


class Outcome(models.TextChoices):
    """What came of an alert, in the words of the nurse's form."""

    SPOKEN = "spoken", "Spoken with the patient"
    VISIT = "visit", "Visit or clinic appointment arranged"
    PHYSICIAN = "physician", "Handed to the nephrologist"
    HOSPITAL = "hospital", "Sent to hospital or emergency care"
    RECORD_WRONG = "record_wrong", "The record was wrong"
    KNOWN = "known", "Known and accepted, nothing to do now"
    OTHER = "other", "Something else"


NO_ACTION = (Outcome.RECORD_WRONG, Outcome.KNOWN)
"""Outcomes after which nothing was done for the patient: what a unit prunes its alerts by."""


class CallResult(models.TextChoices):
    REACHED = "reached", "Reached"
    MESSAGE = "message", "Left a message"
    NO_ANSWER = "no_answer", "No answer"


class Channel(models.TextChoices):
    EMAIL = "email", "E-mail"
    PUSH = "push", "Message to a browser"
