"""What the unit writes for the bedside, and what came back: own texts, messages, what was seen and acknowledged.

Rows are only ever added: the newest version of a text holds, and each earlier one can still be shown.
"""

from __future__ import annotations

import uuid
from typing import ClassVar, Self

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import Q

from sessions.facts.choices import EntryEnd, EntryKind, LeftOutReason, Technique, TextKind
from sessions.models.patient import Patient
from sessions.models.prescription import Prescription
from sessions.models.querysets import OfPatientQuerySet


def _only_added(name: str) -> pgtrigger.Protect:
    return pgtrigger.Protect(name=name, operation=pgtrigger.Update | pgtrigger.Delete)


class UnitText(models.Model):
    """One version of a text of the unit: for everybody, or a run sheet adapted for one patient.

    `content` is as `services.unit_texts` reads and writes it. A version without content says that the wider text
    holds again from then on: the unit's for a patient, the one that comes with the program for the unit.
    """

    kind = models.CharField(max_length=9, choices=TextKind)
    technique = models.CharField(max_length=12, choices=Technique, blank=True)
    patient = models.ForeignKey(Patient, null=True, on_delete=models.PROTECT, related_name="own_texts")
    version = models.PositiveIntegerField()
    content = models.JSONField(null=True)
    why = models.TextField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["-version"]
        constraints: ClassVar = [
            models.UniqueConstraint(name="unit_text_version_once", fields=["kind", "version"]),
            models.CheckConstraint(
                name="unit_text_run_sheets_apart",
                condition=(Q(kind=TextKind.RUN_SHEET) & ~Q(technique=""))
                | (~Q(kind=TextKind.RUN_SHEET) & Q(technique="", patient=None)),
            ),
        ]
        triggers: ClassVar = [_only_added("unit_text_only_added")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, version {self.version}"


class TextSignature(models.Model):
    """That somebody has read one text as patients read it, and stands for it.

    A card and the first aid of an event are signed each by itself (`key`), checks and run sheets whole. `fingerprints`:
    {language: what was read}; where the words have changed since, the signature no longer holds.
    """

    kind = models.CharField(max_length=9, choices=TextKind)
    technique = models.CharField(max_length=12, choices=Technique, blank=True)
    patient = models.ForeignKey(Patient, null=True, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=40, blank=True)
    fingerprints = models.JSONField()
    signed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    role = models.CharField(max_length=20)
    signed_at = models.DateTimeField()
    read_again_on = models.DateField()

    class Meta:
        ordering: ClassVar = ["-signed_at", "-pk"]
        indexes: ClassVar = [models.Index(name="text_signature_newest", fields=["kind", "key", "role", "-signed_at"])]
        triggers: ClassVar = [_only_added("text_signature_only_added")]

    def __str__(self) -> str:
        return f"{self.kind} {self.key or self.technique}, signed by {self.signed_by}"


class Message(models.Model):
    """Words from the unit to a patient; not for anything urgent."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="messages")
    words = models.TextField()
    sent_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    sent_at = models.DateTimeField()

    objects = OfPatientQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-sent_at", "-pk"]
        triggers: ClassVar = [_only_added("message_only_added")]

    def __str__(self) -> str:
        return f"Message to {self.patient} of {self.sent_at:%Y-%m-%d}"


class MessageSeen(models.Model):
    """That a person at the bedside has seen a message. `at`: by the phone's clock."""

    message = models.ForeignKey(Message, on_delete=models.CASCADE, related_name="seen")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    received_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["at"]
        constraints: ClassVar = [models.UniqueConstraint(name="message_seen_once", fields=["message", "by"])]
        triggers: ClassVar = [_only_added("message_seen_only_added")]

    def __str__(self) -> str:
        return f"{self.by} saw it at {self.at:%Y-%m-%d %H:%M}"


class PrescriptionAcknowledgement(models.Model):
    """That a person at the bedside has read what a prescription changes. `at`: by the phone's clock."""

    prescription = models.ForeignKey(Prescription, on_delete=models.CASCADE, related_name="acknowledgements")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    received_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["at"]
        constraints: ClassVar = [
            models.UniqueConstraint(name="prescription_acknowledged_once", fields=["prescription", "by"])
        ]
        triggers: ClassVar = [_only_added("acknowledgement_only_added")]

    def __str__(self) -> str:
        return f"{self.by} read {self.prescription} at {self.at:%Y-%m-%d %H:%M}"


class NotHandedOverQuerySet(OfPatientQuerySet):
    def standing(self) -> Self:
        """Those that nobody has seen to and that did not come in since, the first told first."""
        return self.filter(over_at=None).order_by("told_at", "pk")


class NotHandedOver(models.Model):
    """An entry that lies on a phone and that this server, or something on the way, did not take: somebody calls.

    The id is that of the entry on the phone. `since`: by the phone's clock.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="not_handed_over")
    told_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    what = models.CharField(max_length=9, choices=EntryKind)
    words = models.CharField(max_length=200, blank=True, help_text="What the phone calls it.")
    started_at = models.DateTimeField(null=True, help_text="When the treatment began.")
    status = models.PositiveSmallIntegerField(null=True, help_text="What the server answered, as HTTP has it.")
    said = models.CharField(max_length=500, blank=True, help_text="The words of that answer.")
    tries = models.PositiveIntegerField(default=0)
    since = models.DateTimeField()
    told_at = models.DateTimeField()
    over = models.CharField(max_length=4, choices=EntryEnd, blank=True)
    over_at = models.DateTimeField(null=True)
    over_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    objects = NotHandedOverQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-told_at"]
        constraints: ClassVar = [
            models.CheckConstraint(
                name="not_handed_over_ends_whole",
                condition=Q(over="", over_at=None) | (~Q(over="") & Q(over_at__isnull=False)),
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_what_display()} of {self.patient}, not handed over"


class LeftOutQuerySet(OfPatientQuerySet):
    def standing(self) -> Self:
        """Without what was taken back."""
        return self.filter(taken_back_at=None)


class LeftOut(models.Model):
    """That no treatment is done on a day, as was said at the bedside. `said_at`: by the phone's clock.

    The id is made by the phone, so that sending again can never make two.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="left_out")
    day = models.DateField(help_text="The day to which the treatment would have belonged, where the patient lives.")
    reason = models.CharField(max_length=8, choices=LeftOutReason)
    words = models.CharField(max_length=300, blank=True)
    said_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    said_at = models.DateTimeField()
    received_at = models.DateTimeField()
    taken_back_at = models.DateTimeField(null=True)

    objects = LeftOutQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-day", "-received_at"]

    def __str__(self) -> str:
        return f"No treatment of {self.patient} on {self.day:%Y-%m-%d}"
