"""From an empty installation to the first treatment: what is there, what is missing, and where it is put."""

from __future__ import annotations

from django.urls import reverse
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.models import LookedOver, RotaTurn
from alerts.models.looked_over import Part
from homedialysis.accounts.models import BEDSIDE_ROLES, Role, Unit, User
from homedialysis.accounts.services.dates import short_day
from sessions.models import Dialyser, Laboratory, Patient, SupplyItem, UnitText
from sessions.services.readiness import ToDo


def steps_of_unit() -> list[ToDo]:
    """In the order in which they are usually done; a dozen small queries."""
    looked = {row.part: row for row in LookedOver.objects.select_related("by").order_by("at")}
    return [*_the_unit(), *_the_team(), *_to_prescribe(looked), *_to_look_over(looked), *_patients()]


def all_there() -> bool:
    """Whether nothing that is needed is missing any more."""
    return all(step.done for step in steps_of_unit() if step.needed)


def _the_unit() -> list[ToDo]:
    unit = Unit.objects.current()
    where = reverse("accounts:unit")
    hours = list(unit.opening_hours.all()) if unit else []
    told = _("%(emergency)s and %(call)s: ring both once") % {
        "emergency": unit.emergency_number if unit else "", "call": unit.on_call_number if unit else "",
    }  # fmt: skip
    of_hours = ngettext("%(count)s day a week", "%(count)s days a week", len(hours)) % {"count": len(hours)}
    return [
        ToDo(_("Name, time zone and units"), unit is not None, str(unit or _("not set yet")), where),
        ToDo(_("Numbers to call"), unit is not None, told if unit else _("not set yet"), where),
        ToDo(_("Opening hours"), bool(hours), of_hours if hours else _("nobody is told of an unseen alert"), where),
    ]


def _the_team() -> list[ToDo]:
    come = {person.role for person in User.objects.exclude(role__in=BEDSIDE_ROLES) if person.has_usable_password()}
    turns = RotaTurn.objects.count()
    team = reverse("accounts:team")
    steps = [
        ToDo(title, role in come, _("there") if role in come else _("none has come yet"), team, needed=needed)
        for title, role, needed in (
            (_("A nurse"), Role.NURSE, True),
            (_("A nephrologist"), Role.NEPHROLOGIST, True),
            (_("A technologist"), Role.TECHNOLOGIST, False),
        )
    ]
    words = ngettext("%(count)s turn", "%(count)s turns", turns) % {"count": turns}
    return [*steps, ToDo(_("Rota"), turns > 0, words if turns else _("nobody is on it"), reverse("alerts:rota"))]


def _to_prescribe(looked: dict[str, LookedOver]) -> list[ToDo]:
    dialysers = Dialyser.objects.to_prescribe().count()
    items = SupplyItem.objects.filter(in_use=True).count()
    laboratories = Laboratory.objects.count()
    return [
        ToDo(_("Dialysers"), dialysers > 0, _counted(dialysers, _("no prescription can be written")),
             reverse("treatments:dialysers")),
        ToDo(_("Supply list"), items > 0, _counted(items, _("no stock is reckoned")),
             reverse("treatments:surroundings-unit"), needed=False),
        ToDo(_("Laboratories"), laboratories > 0 or Part.BY_HAND in looked,
             _counted(laboratories, _said(looked, Part.BY_HAND)), reverse("dosing:imports"),
             clinical=True),
    ]  # fmt: skip


def _counted(count: int, otherwise: str) -> str:
    return ngettext("%(count)s entered", "%(count)s entered", count) % {"count": count} if count else otherwise


def _to_look_over(looked: dict[str, LookedOver]) -> list[ToDo]:
    own = UnitText.objects.filter(patient=None).exists()
    pages = {
        Part.TEXTS: "treatments:unit-texts", Part.LIMITS: "alerts:unit-limits", Part.RANGES: "dosing:review-ranges",
        Part.INTERVALS: "treatments:surroundings-unit",
    }  # fmt: skip
    return [
        ToDo(str(part.label), part in looked or (part == Part.TEXTS and own), _said(looked, part), reverse(page))
        for part, page in pages.items()
    ]


def _said(looked: dict[str, LookedOver], part: Part) -> str:
    row = looked.get(part)
    if row is None:
        return _("nobody has looked them over")
    return _("right for this unit, says %(person)s on %(day)s") % {
        "person": row.by,
        "day": short_day(localtime(row.at)),
    }


def _patients() -> list[ToDo]:
    count = Patient.objects.count()
    return [
        ToDo(_("The first patient"), count > 0, _counted(count, _("nobody is enrolled")),
             reverse("treatments:patients") if count else reverse("treatments:enrol"), clinical=not count),
    ]  # fmt: skip
