"""Is everything there for a patient's first treatment? Asked before the invitation goes out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from homedialysis.accounts.models import Unit
from homedialysis.accounts.services.dates import told_day
from sessions.facts.choices import AccessKind, SiteUse
from sessions.facts.choices_surroundings import MachineKind
from sessions.models import AccessSite, Machine, Patient, SupplyCount, Training, WaterTest
from sessions.models.local_time import zone_of
from sessions.services.cautions import cautions_of
from sessions.services.prescribing import prescription_in_force
from sessions.services.surroundings_facts import facts_of
from sessions.services.text_signing import SIGNERS, Signatures
from sessions.services.unit_texts import Texts
from sessions.texts.ready import words_of

FIRST_SUPERVISED = 3
"""So many treatments are usually done with somebody of the unit beside (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class ToDo:
    """One thing that has to be there. needed: without it nothing should begin; else it is good to have.

    wrong: it is there, but not as it has to be; then it is not done.
    """

    title: str
    done: bool
    words: str
    address: str
    needed: bool = True
    clinical: bool = False
    """Whether only a nurse or a nephrologist opens the page."""
    wrong: bool = False


def steps_to_first_treatment(patient: Patient, *, at: datetime) -> list[ToDo]:
    """What has to stand before the first treatment at home, in the order in which it is usually done."""
    return [*_of_the_person(patient, at), *_at_home(patient, at), _texts(patient, at), *_beside(patient)]


def _page(name: str, patient: Patient, *more: str) -> str:
    return reverse(name, args=[patient.pk, *more])


def _of_the_person(patient: Patient, at: datetime) -> list[ToDo]:
    access = patient.accesses.in_use().prefetch_related("sites").first()
    order = prescription_in_force(patient, at)
    sites = list(access.sites.all()) if access else []
    enough = access is not None and (access.kind == AccessKind.CATHETER or set(SiteUse.values) <= _uses(sites))
    where = _page("treatments:access", patient)
    asked = all(line.asked for line in cautions_of(patient))
    return [
        ToDo(_("Allergies and dangers"), asked, _("asked") if asked else _("not asked yet"),
             _page("treatments:cautions", patient)),
        ToDo(_("Access"), access is not None, str(access or _("none is noted")), where),
        ToDo(_("Sites for both needles"), enough, _("marked") if enough else _("not marked yet"), where),
        ToDo(
            _("Prescription"), order is not None,
            _("version %(version)s is in force") % {"version": order.version} if order else _("none is in force"),
            _page("treatments:prescribe", patient),
        ),
    ]  # fmt: skip


def _uses(sites: list[AccessSite]) -> set[str]:
    return {site.use for site in sites if not site.resting}


def _at_home(patient: Patient, at: datetime) -> list[ToDo]:
    machines = Machine.objects.filter(patient=patient, until=None)
    there = machines.filter(kind=MachineKind.DIALYSIS).exists()
    counted = SupplyCount.objects.standing().filter(patient=patient).exists()
    own_sheet = patient.own_texts.exists()
    return [
        ToDo(_("Machine at home"), there, _("noted") if there else _("not noted"),
             _page("treatments:surroundings-note", patient, "machine")),
        _water(patient, at),
        ToDo(_("Supplies counted"), counted, _("counted once") if counted else _("never counted"),
             _page("treatments:surroundings-note", patient, "count"), needed=False),
        ToDo(_("Run sheet looked over"), own_sheet,
             _("one of the patient's own") if own_sheet else _("the unit's holds"),
             _page("treatments:patient-run-sheet", patient), needed=False),
    ]  # fmt: skip


def _water(patient: Patient, at: datetime) -> ToDo:
    """Tested, and nothing of it held back: else the phone says not to begin."""
    facts = facts_of(patient, at.astimezone(zone_of(patient)).date())
    near = [test for test, grade in facts.beyond if grade == 1]
    if facts.held:
        words = "; ".join(held.words for held in facts.held)
    elif near:
        words = _("within the limit, at or over the action level: %(tests)s") % {"tests": _named(near)}
    elif facts.water:
        words = _("the newest results are not over their limits")
    else:
        words = _("no result stands")
    held = bool(facts.held)
    name = "dosing:water-release" if held else "treatments:surroundings-note"
    address = _page(name, patient) if held else _page(name, patient, "water")
    return ToDo(_("Water tested"), bool(facts.water) and not held, words, address, wrong=held)


def _named(tests: Iterable[WaterTest]) -> str:
    """Each with its place and day."""
    return "; ".join(
        _("%(test)s, %(place)s, %(day)s")
        % {
            "test": test.get_kind_display(),
            "place": test.get_place_display(),
            "day": told_day(test.sampled_at.astimezone(zone_of(test.patient)), "j M Y"),
        }
        for test in tests
    )


def _texts(patient: Patient, at: datetime) -> ToDo:
    """What this patient reads at the bedside, in this patient's language."""
    language = (patient.account.language if patient.account else "") or settings.LANGUAGE_CODE
    signed = Signatures(Texts(), at.astimezone(zone_of(patient)).date())
    missing = {part.name for role in SIGNERS for part in signed.wanting(role, [language])}
    words = ngettext("%(count)s text is not signed", "%(count)s texts are not signed", len(missing))
    return ToDo(
        _("Texts signed by nurse and nephrologist"), not missing,
        words % {"count": len(missing)} if missing else _("all of them"), reverse("treatments:signing"), needed=False,
    )  # fmt: skip


def _supervised(patient: Patient) -> ToDo:
    count = Training.objects.standing().filter(patient=patient, topic=Training.SUPERVISED).count()
    address = _page("treatments:surroundings-note", patient, "training")
    return ToDo(
        _("First treatments under supervision"), count >= FIRST_SUPERVISED,
        _("%(count)s of %(wanted)s noted") % {"count": count, "wanted": FIRST_SUPERVISED},
        f"{address}?{urlencode({'topic': words_of(Training.SUPERVISED)})}", needed=False,
    )  # fmt: skip


def _beside(patient: Patient) -> list[ToDo]:
    trained = Training.objects.standing().filter(patient=patient).exclude(topic=Training.PRACTICE).exists()
    unit = Unit.objects.current()
    reached = bool(unit and unit.opening_hours.all())
    come = patient.account is not None and patient.account.has_usable_password()
    return [
        ToDo(_("Training"), trained, _("noted") if trained else _("none is noted"),
             _page("treatments:surroundings-note", patient, "training")),
        _supervised(patient),
        ToDo(_("Numbers to call, and opening hours"), reached, _("set") if reached else _("not set for the unit"),
             reverse("accounts:unit")),
        ToDo(_("Invitation"), come, _("the patient signs in") if come else _("the patient has not come yet"),
             _page("treatments:invite", patient)),
    ]  # fmt: skip
