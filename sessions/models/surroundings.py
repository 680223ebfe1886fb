"""Water tests, machines and their care, and how often things come round.

An `Entry` is something noted once, by a phone or at the unit, under an id that its maker gives: sending it again
can never make two. A correction overwrites the row and the database's triggers keep what stood before; what should
never have been noted is taken back with a reason, and stays.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any, ClassVar

import pghistory
import pgtrigger
from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from sessions.facts import plausible
from sessions.facts.choices_surroundings import (
    FIGURES,
    FLUIDS_OF_PORT,
    WATER_UNITS,
    DueKind,
    MachineKind,
    TaskKind,
    WaterEdition,
    WaterFluid,
    WaterKind,
    WaterPlace,
)
from sessions.facts.ranges import Range
from sessions.models.patient import Patient
from sessions.models.querysets import EntryQuerySet, OfPatientQuerySet, OwnOrUnitQuerySet, UnitListQuerySet


def refuse_impossible(instance: models.Model, limits: Mapping[str, Range]) -> None:
    """Raise ValidationError, by field, for each number outside its hard limits."""
    given = {name: getattr(instance, name, None) for name in limits}
    problems = {
        name: why
        for name, number in given.items()
        if isinstance(number, int | float) and (why := limits[name].refusal(number))
    }
    if problems:
        raise ValidationError(problems)


class Entry(models.Model):
    """Something noted about one patient's surroundings."""

    moment: ClassVar[str]
    """The field that says when it happened."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="+")
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    taken_back = models.CharField(_("taken back because"), max_length=200, blank=True)

    objects = EntryQuerySet.as_manager()

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"{self._meta.verbose_name} {self.pk}"

    @property
    def content(self) -> dict[str, Any]:
        """What the maker of the entry said: the same again is the same entry."""
        left_out = {"id", "entered_by_id", "entered_at", "taken_back"}
        return {f.attname: getattr(self, f.attname) for f in self._meta.concrete_fields if f.attname not in left_out}


@pghistory.track()
class WaterTest(Entry):
    """One result of one sample. `value` in the unit of its kind; where below_detection, the detection limit."""

    moment = "sampled_at"

    kind = models.CharField(_("test"), max_length=16, choices=WaterKind)
    sampled_at = models.DateTimeField(_("sampled at"))
    value = models.FloatField(_("result"))
    unit = models.CharField(_("unit"), max_length=10, blank=True)
    below_detection = models.BooleanField(
        _("below what the method detects"), default=False, help_text=_("The result is then the detection limit.")
    )
    fluid = models.CharField(_("what was sampled"), max_length=16, choices=WaterFluid)
    place = models.CharField(_("where"), max_length=16, choices=WaterPlace)
    note = models.CharField(_("note"), max_length=300, blank=True)

    class Meta:
        ordering: ClassVar = ["-sampled_at"]
        indexes: ClassVar = [models.Index(fields=["patient", "kind", "-sampled_at"], name="water_of_patient")]
        constraints: ClassVar = [
            models.UniqueConstraint(
                name="water_test_once",
                fields=["patient", "kind", "place", "sampled_at"],
                condition=Q(taken_back=""),
                violation_error_message=_("A result of this test, from this place and time, stands already."),
            ),
            models.CheckConstraint(
                name="water_value_not_negative",
                condition=Q(value__gte=0),
                violation_error_message=_("A result cannot lie below zero."),
            ),
            models.CheckConstraint(
                name="water_unit_of_kind",
                condition=Q(*[Q(kind=kind, unit=unit) for kind, unit in WATER_UNITS.items()], _connector=Q.OR),
                violation_error_message=_("A result is kept in the one unit of its test."),
            ),
        ]

    def clean(self) -> None:
        self._refuse_other_fluid()
        limits = plausible.WATER.get(self.kind)
        if limits is None:
            return  # the field has said so
        self.unit = self.unit or limits.unit
        if self.unit != limits.unit:
            words = gettext("%(test)s is given in %(unit)s; %(given)s was given.")
            problem = words % {"test": limits.label, "unit": limits.unit, "given": self.unit}
            raise ValidationError({"unit": problem})
        refuse_impossible(self, {"value": limits})

    def _refuse_other_fluid(self) -> None:
        """Dialysis fluid is sampled at its port and nowhere else: by what was sampled the limit is chosen."""
        if self.fluid and self.place and (self.place == WaterPlace.FLUID_PORT) != (self.fluid in FLUIDS_OF_PORT):
            words = gettext("A sample from “%(place)s” is not %(fluid)s: say one or the other.")
            told = {"place": self.get_place_display(), "fluid": self.get_fluid_display()}
            raise ValidationError({"fluid": words % told})


class WaterRelease(models.Model):
    """That a person has released the water at a home after tests over their limit: their ids are in `tests`.

    Without `released_by`: what was over its limit and had passed since when releases began to be asked for.
    """

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="water_releases")
    tests = models.JSONField(default=list)
    released_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    released_at = models.DateTimeField()
    words = models.CharField(_("what was done"), max_length=300)

    objects = OfPatientQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-released_at", "-pk"]
        triggers: ClassVar = [
            pgtrigger.Protect(name="water_release_only_added", operation=pgtrigger.Update | pgtrigger.Delete)
        ]

    def __str__(self) -> str:
        return f"Water of {self.patient}, released {self.released_at:%Y-%m-%d %H:%M}"


@pghistory.track()
class WaterStandard(models.Model):
    """The edition of the standard that the unit judges its water by: one row, or none while nobody has chosen.

    figures: {fluid: {test: [limit, action level or null]}} in the unit of the test, of `FIGURES`; they hold before
    those of the edition.
    """

    only = models.BooleanField(default=True, editable=False, unique=True)
    edition = models.CharField(_("edition"), max_length=10, choices=WaterEdition, default=WaterEdition.ISO_2019)
    figures = models.JSONField(_("figures of the unit's own"), default=dict, blank=True)
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()

    objects = UnitListQuerySet.as_manager()

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(name="water_standard_only_one", condition=Q(only=True))]

    def __str__(self) -> str:
        return str(self.get_edition_display())

    def clean(self) -> None:
        """Each figure is one of `FIGURES`, within what a test may give, and acted on before it is reached."""
        asked = {(str(fluid), str(kind)) for fluid, kind in FIGURES}
        for fluid, figures in self.figures.items():
            for kind, (limit, action) in figures.items():
                if (fluid, kind) not in asked:
                    words = gettext("%(test)s in %(fluid)s has no figure of the unit's own.")
                    raise ValidationError({"figures": words % {"test": kind, "fluid": fluid}})
                self._refuse(plausible.WATER[kind], limit, action)

    @staticmethod
    def _refuse(limits: Range, limit: float, action: float | None) -> None:
        for given in (limit, action):
            if given is not None and (why := limits.refusal(given)):
                raise ValidationError({"figures": why})
        if action is not None and action > limit:
            words = gettext("%(test)s: the action level, %(action)s, must not lie above the limit, %(limit)s.")
            told = {"test": limits.label, "action": f"{action:g}", "limit": f"{limit:g}"}
            raise ValidationError({"figures": words % told})


@pghistory.track()
class Machine(models.Model):
    """A machine at a patient's home, from one day until another."""

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="machines")
    kind = models.CharField(_("kind"), max_length=8, choices=MachineKind)
    name = models.CharField(_("maker and type"), max_length=80, help_text=_("As on its plate."))
    serial = models.CharField(_("serial number"), max_length=60)
    ultrapure = models.BooleanField(
        _("kept as ultrapure"), default=False, help_text=_("Its water or fluid is then held to the stricter limits.")
    )
    since = models.DateField(_("at home since"))
    until = models.DateField(_("until"), null=True, blank=True)

    objects = OfPatientQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["kind", "-since"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                name="machine_one_of_a_kind",
                fields=["patient", "kind"],
                condition=Q(until=None),
                violation_error_message=_("This patient has one in use: say first until when it was."),
            ),
            models.UniqueConstraint(
                name="machine_in_one_home",
                fields=["name", "serial"],
                condition=Q(until=None),
                violation_error_message=_("A machine with this name and serial number is in use at a patient's."),
            ),
            models.CheckConstraint(
                name="machine_days_in_order",
                condition=Q(until=None) | Q(until__gte=F("since")),
                violation_error_message=_("The last day must not lie before the first."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.serial})"


@pghistory.track(pghistory.InsertEvent(), pghistory.UpdateEvent(), pghistory.DeleteEvent())
class Interval(models.Model):
    """How often something comes round: for the unit (no patient), or for one patient instead.

    By days, by treatments, or whichever comes first; `stopped`: not done at all. Samples of water come denser at first,
    `first_tests` of them `first_days` apart; None: as is usual, 0 tests: not denser.
    """

    patient = models.ForeignKey(Patient, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(_("what"), max_length=16, choices=DueKind)
    every_days = models.PositiveIntegerField(_("every so many days"), null=True, blank=True)
    every_treatments = models.PositiveIntegerField(_("every so many treatments"), null=True, blank=True)
    stopped = models.BooleanField(_("not done here"), default=False)
    first_tests = models.PositiveIntegerField(_("denser at first, so many in a row"), null=True, blank=True)
    first_days = models.PositiveIntegerField(_("those, every so many days"), null=True, blank=True)
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()

    objects = OwnOrUnitQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["kind"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                name="interval_once",
                fields=["patient", "kind"],
                nulls_distinct=False,
                violation_error_message=_("How often this comes round is set already: change that."),
            ),
            models.CheckConstraint(
                name="interval_says_how_often",
                condition=Q(stopped=True) | Q(every_days__isnull=False) | Q(every_treatments__isnull=False),
                violation_error_message=_("Say after how many days or treatments, or that it is not done here."),
            ),
        ]

    def __str__(self) -> str:
        return str(self.get_kind_display())

    def clean(self) -> None:
        numbers = ("every_days", "every_treatments", "first_tests", "first_days")
        refuse_impossible(self, {name: plausible.SURROUNDINGS[name] for name in numbers})
        counted = {DueKind.BACTERIA, DueKind.ENDOTOXIN, DueKind.SUPPLY_COUNT, DueKind.URINE}
        if self.every_treatments is not None and self.kind in counted:
            raise ValidationError({"every_treatments": gettext("This comes round by days only.")})
        dense = next((name for name in ("first_tests", "first_days") if getattr(self, name) is not None), None)
        if dense and self.kind not in {DueKind.BACTERIA, DueKind.ENDOTOXIN}:
            raise ValidationError({dense: gettext("Only cultures and endotoxin tests come denser at first.")})


@pghistory.track()
class TaskDone(Entry):
    """A task of a machine's care, done."""

    moment = "done_at"

    kind = models.CharField(_("what"), max_length=16, choices=TaskKind)
    done_at = models.DateTimeField(_("done at"))
    note = models.CharField(_("note"), max_length=300, blank=True)

    class Meta:
        ordering: ClassVar = ["-done_at"]
        indexes: ClassVar = [models.Index(fields=["patient", "kind", "-done_at"], name="task_of_patient")]
