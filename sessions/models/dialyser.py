"""Dialysers that the unit uses, with the figures of their makers' data sheets."""

from __future__ import annotations

from typing import ClassVar

import pghistory
import pgtrigger
from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models.functions import Lower
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from sessions.facts import plausible
from sessions.models.querysets import DialyserQuerySet
from sessions.models.surroundings import refuse_impossible

FIGURES = ("name", "koa_ml_min", "surface_m2", "uf_ml_h_mmhg", "phosphate_koa_ml_min", "b2m_koa_ml_min")
"""What a prescription was signed with: it stays as it was then."""


@pghistory.track()
class Dialyser(models.Model):
    """A dialyser that the unit uses, under the figures that its data sheet states in vitro.

    Once prescribed, its figures stay: other figures are a new row that replaces this one, so what was computed for
    past nights never moves.
    """

    name = models.CharField(_("name"), max_length=60)
    koa_ml_min = models.FloatField(_("urea KoA, in vitro (mL/min)"))
    surface_m2 = models.FloatField(_("membrane surface (m²)"))
    uf_ml_h_mmhg = models.FloatField(_("ultrafiltration coefficient (mL/h/mmHg)"), null=True, blank=True)
    phosphate_koa_ml_min = models.FloatField(_("phosphate KoA, in vitro (mL/min)"), null=True, blank=True)
    b2m_koa_ml_min = models.FloatField(_("KoA of β2-microglobulin, in vitro (mL/min)"), null=True, blank=True)
    source = models.CharField(_("where the figures are from"), max_length=200, blank=True)
    in_use = models.BooleanField(_("in use"), default=True)
    replaces = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by")
    set_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    set_at = models.DateTimeField(null=True, blank=True)

    objects = DialyserQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["name", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                Lower("name"),
                name="dialyser_in_use_once",
                condition=models.Q(in_use=True),
                violation_error_message=_("A dialyser of this name is in use already."),
            )
        ]
        triggers: ClassVar = [
            pgtrigger.Trigger(
                name="dialyser_figures_stay",
                when=pgtrigger.Before,
                operation=pgtrigger.Update,
                condition=pgtrigger.AnyChange(*FIGURES),
                func="""
                    IF EXISTS (SELECT 1 FROM treatment_prescription WHERE dialyser_id = OLD.id) THEN
                        RAISE EXCEPTION 'figures of a dialyser that was prescribed stay: other figures are a new row';
                    END IF;
                    RETURN NEW;
                """,
            )
        ]

    def __str__(self) -> str:
        return f"{self.name} (KoA {self.koa_ml_min:g} mL/min, {self.surface_m2:g} m²)"

    def clean(self) -> None:
        refuse_impossible(self, plausible.DIALYSER)
        small, urea = self.phosphate_koa_ml_min, self.koa_ml_min
        if small is not None and urea is not None and small > urea:
            words = gettext("Phosphate passes more slowly than urea: at most %(urea)g mL/min; %(given)g was given.")
            raise ValidationError({"phosphate_koa_ml_min": words % {"urea": urea, "given": small}})
