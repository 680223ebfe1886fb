"""The dialysis fluid as the machine shows it: conductivity and temperature."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Rule
from alerts.rules.rule_kinds import of_readings, outside
from sessions.facts.fields import READING


def _fluid(
    key: str,
    column: str,
    title: StrOrPromise,
    about: StrOrPromise,
    *,
    missing: StrOrPromise,
    over: bool,
    margin: float,
    may_be_muted: bool = True,
) -> Rule:
    return outside(
        key,
        title=title,
        about=about,
        family=Family.COMPOSITION,
        urgency=Urgency.THIS_WEEK,
        read=of_readings(column),
        limits=(key,),
        over=over,
        margin=margin,
        form=".1f",
        what=_(READING[column].label),
        missing=missing,
        reads="readings",
        optional=True,
        may_be_muted=may_be_muted,
    )


CONDUCTIVITY, WARMTH = "conductivity_ms_cm", "dialysate_temperature_c"
NO_CONDUCTIVITY = _("no conductivity was noted")
NO_WARMTH = _("no temperature of the dialysis fluid was noted")
CONDUCTIVITY_LOW = _fluid(
    "conductivity_low", CONDUCTIVITY, _("Conductivity low"), _("conductivity, too low"),
    missing=NO_CONDUCTIVITY, over=False, margin=0.1, may_be_muted=False,
)  # fmt: skip
CONDUCTIVITY_HIGH = _fluid(
    "conductivity_high", CONDUCTIVITY, _("Conductivity high"), _("conductivity, too high"),
    missing=NO_CONDUCTIVITY, over=True, margin=0.1, may_be_muted=False,
)  # fmt: skip
COLD = _fluid(
    "fluid_temperature_low", WARMTH, _("Dialysis fluid cold"), _("temperature of the dialysis fluid, too low"),
    missing=NO_WARMTH, over=False, margin=0.2,
)  # fmt: skip
WARM = _fluid(
    "fluid_temperature_high", WARMTH, _("Dialysis fluid warm"), _("temperature of the dialysis fluid, too high"),
    missing=NO_WARMTH, over=True, margin=0.2,
)  # fmt: skip

RULES = (CONDUCTIVITY_LOW, CONDUCTIVITY_HIGH, COLD, WARM)
