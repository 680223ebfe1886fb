"""What a home programme's record holds of a person beside treatments and bloods, each kind declared once.

Viruses and vaccinations, where a transplant stands, measurements and interventions of the access, measurements of
fluid, pressures at home. Form, list, take-out and FHIR read the declarations.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db import models
from django.utils.translation import gettext, gettext_noop
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from sessions.facts.local_number import plain
from sessions.facts.ranges import Range


class FindingKind(models.TextChoices):
    VIRUS = "virus", _("virus test")
    VACCINATION = "vaccination", _("vaccination")
    TRANSPLANT = "transplant", _("transplant status")
    ACCESS_FLOW = "access_flow", _("access flow and recirculation")
    ACCESS_LOOK = "access_look", _("examination or intervention of the access")
    BIOIMPEDANCE = "bioimpedance", _("bioimpedance")
    LUNGS = "lungs", _("lung ultrasound")
    HOME_PRESSURE = "home_pressure", _("pressure at home")


@dataclass(frozen=True, slots=True)
class FindingField:
    """One value of a finding: a number in its range, or one of its choices."""

    label: StrOrPromise
    limits: Range | None = None
    choices: Mapping[str, StrOrPromise] = field(default_factory=dict)
    needed: bool = True

    def words(self, value: Any) -> str:
        """A value as people read it, with its unit."""
        if self.limits is None:
            return str(self.choices.get(value, value))
        return f"{plain(value)} {self.limits.unit}".strip()


def _number(label: str, unit: str, hard: tuple[float, float], *, needed: bool = False) -> FindingField:
    return FindingField(_(label), Range(label, unit, hard, hard), needed=needed)


@dataclass(frozen=True, slots=True)
class FindingSpec:
    """The values of a kind by their keys; of_access: it belongs to an access; some: at least one of these is needed."""

    fields: Mapping[str, FindingField]
    of_access: bool = False
    some: tuple[str, ...] = ()


VIRUSES = {
    "hbsag": _("HBsAg"),
    "anti_hbs": _("anti-HBs"),
    "anti_hbc": _("anti-HBc"),
    "hcv": _("hepatitis C"),
    "hiv": _("HIV"),
}
RESULTS = {"negative": _("negative"), "positive": _("positive"), "unclear": _("unclear")}
AGAINST = {
    "hepatitis_b": _("hepatitis B"),
    "influenza": _("influenza"),
    "pneumococcus": _("pneumococcus"),
    "covid": _("COVID-19"),
    "other": _("another, see words"),
}
TRANSPLANT = {
    "not_assessed": _("not assessed yet"),
    "assessing": _("being assessed"),
    "active": _("on the list, active"),
    "on_hold": _("on the list, on hold"),
    "living": _("living donor planned"),
    "unsuitable": _("not suitable"),
    "declined": _("does not want one"),
}
LOOKS = {
    "examination": _("examination"),
    "ultrasound": _("ultrasound"),
    "angiography": _("angiography"),
    "angioplasty": _("angioplasty"),
    "thrombectomy": _("clot removed"),
    "surgery": _("surgery"),
    "catheter": _("catheter changed"),
    "other": _("other, see words"),
}
SPECS: dict[str, FindingSpec] = {
    FindingKind.VIRUS: FindingSpec(
        {
            "virus": FindingField(_("of"), choices=VIRUSES),
            "result": FindingField(_("result"), choices=RESULTS),
            "titre": _number(gettext_noop("titre"), "IU/L", (0, 1_000_000)),
        }
    ),
    FindingKind.VACCINATION: FindingSpec(
        {
            "against": FindingField(_("against"), choices=AGAINST),
            "dose": _number(gettext_noop("number of the dose"), "", (1, 12)),
        }
    ),
    FindingKind.TRANSPLANT: FindingSpec({"status": FindingField(_("status"), choices=TRANSPLANT)}),
    FindingKind.ACCESS_FLOW: FindingSpec(
        {
            "flow_ml_min": _number(gettext_noop("flow of the access"), "mL/min", (20, 8000)),
            "recirculation_percent": _number(gettext_noop("recirculation"), "%", (0, 90)),
        },
        of_access=True,
        some=("flow_ml_min", "recirculation_percent"),
    ),
    FindingKind.ACCESS_LOOK: FindingSpec({"what": FindingField(_("what"), choices=LOOKS)}, of_access=True),
    FindingKind.BIOIMPEDANCE: FindingSpec(
        {
            "overhydration_l": _number(gettext_noop("overhydration"), "L", (-15, 25)),
            "extracellular_l": _number(gettext_noop("extracellular water"), "L", (3, 60)),
        },
        some=("overhydration_l", "extracellular_l"),
    ),
    FindingKind.LUNGS: FindingSpec({"b_lines": _number(gettext_noop("B-lines"), "", (0, 300), needed=True)}),
    FindingKind.HOME_PRESSURE: FindingSpec(
        {
            "systolic": _number(gettext_noop("systolic"), "mmHg", (40, 300), needed=True),
            "diastolic": _number(gettext_noop("diastolic"), "mmHg", (20, 200), needed=True),
            "pulse": _number(gettext_noop("pulse"), "/min", (20, 250)),
        }
    ),
}


def refusals(kind: str, values: Mapping[str, Any]) -> dict[str, str]:
    """What is wrong with the values of a kind, by key; "" for what concerns them all."""
    spec, found = SPECS[kind], {}
    for key, each in spec.fields.items():
        value = values.get(key)
        if value is None:
            if each.needed:
                found[key] = gettext("This is needed.")
        elif each.limits is not None:
            found[key] = each.limits.refusal(value) if isinstance(value, int | float) else each.limits.needed
        elif value not in each.choices:
            found[key] = gettext("“%(given)s” is none of the choices.") % {"given": value}
    if unknown := values.keys() - spec.fields.keys():
        found[""] = gettext("There is no value “%(name)s” of this kind.") % {"name": min(unknown)}
    if spec.some and all(values.get(key) is None for key in spec.some):
        found[""] = gettext("At least one value is needed.")
    return {key: why for key, why in found.items() if why}


def words_of_values(kind: str, values: Mapping[str, Any]) -> str:
    """The values of a finding in one line."""
    told = [
        each.words(values[key]) if each.choices else f"{each.label} {each.words(values[key])}"
        for key, each in SPECS[kind].fields.items()
        if values.get(key) is not None
    ]
    return ", ".join(told)
