"""Release the water at a home after a test over its limit: an act of a named person."""

from __future__ import annotations

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from homedialysis.accounts.models import User
from sessions.facts.choices_surroundings import DueKind
from sessions.models import Patient, WaterRelease
from sessions.models.local_time import zone_of
from sessions.services.due import due_of
from sessions.services.surroundings_facts import SurroundingsFacts, facts_of
from sessions.signals import surroundings_noted


def lacks(facts: SurroundingsFacts) -> list[str]:
    """What has to be there before the water may be released, in words; nothing where nothing is held back."""
    found = [
        _("%(held)s: no sample from there has passed since.") % {"held": held.words}
        for held in facts.held
        if held.again is None
    ]
    if facts.held and any(each.kind == DueKind.DISINFECTION and each.said[0] == "beyond" for each in due_of(facts)):
        found.append(_("The machine was not disinfected since: note the disinfection first."))
    return found


@transaction.atomic
def release_water(*, patient: Patient, words: str, by: User, at: datetime) -> WaterRelease:
    """Everything that is held back at this home may be used again. Raises ValidationError with what is lacking."""
    Patient.objects.select_for_update(no_key=True).get(pk=patient.pk)
    facts = facts_of(patient, at.astimezone(zone_of(patient)).date())
    if not facts.held:
        raise ValidationError(_("No water is held back here."))
    if missing := lacks(facts):
        raise ValidationError(missing)
    tests = [str(held.test.pk) for held in facts.held]
    made = WaterRelease.objects.create(patient=patient, tests=tests, released_by=by, released_at=at, words=words)
    surroundings_noted.send(sender=Patient, patient=patient, at=at)
    return made
