"""What the line of a patient in the worklist says of the alerts: each by a short name, as many as two lines hold.

A rule whose title is short keeps it. The whole title, and what was seen, stand in the picture that the line opens to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.models import Alert
from alerts.showing.alert_words import title_of_rule, which_of

MOST_LETTERS = 30
"""Of a short name: what one line of the column holds."""
TWO_LINES = 58
"""Letters that two lines hold, whatever words they break at."""
AND_MORE = 12
"""Letters of the words that say how many have no room."""

SHORT: dict[str, StrOrPromise] = {
    "access_redness": _("Redness, pain, pus at access"),
    "access_story": _("Access: several signs worsen"),
    "arterial_low": _("Arterial pressure too negative"),
    "blood_colour": _("Wrong colour of the blood"),
    "blood_processed": _("Less blood processed"),
    "bloods_overdue": _("Bloods or urine overdue"),
    "chlorine_connected": _("Chlorine high while connected"),
    "clotting": _("Clotting, repeated"),
    "dose_drift": _("Machine's clearance falling"),
    "fall_with_symptoms": _("Pressure fell, with symptoms"),
    "fewer_treatments": _("Fewer treatments"),
    "heart_rhythm": _("Heart racing, slow or uneven"),
    "left_out": _("Treatment left out"),
    "low_noted": _("Low pressure, patient noted"),
    "machine_alarm": _("Machine alarm, repeated"),
    "not_acknowledged": _("Prescription not acknowledged"),
    "pressure_high": _("Very high pressure before"),
    "pth": _("PTH outside its limits"),
    "bleeding": _("Long bleeding after needles"),
    "saturation": _("Transferrin saturation off"),
    "standing_fall": _("Pressure falls on standing"),
    "target_outdated": _("Target weight out of date?"),
    "tmp_high": _("TMP over its limit"),
    "uf_rate_line": _("UF rate over the weight's line"),
    "venous_low": _("Venous pressure very low"),
}


def short_title_of(alert: Alert) -> str:
    """The short name, and which of its causes it is where there may be several."""
    title, which = str(SHORT.get(alert.rule, title_of_rule(alert.rule))), which_of(alert)
    return gettext("%(title)s: %(which)s") % {"title": title, "which": which} if which else title


@dataclass(frozen=True, slots=True)
class InShort:
    """first, others: short names of what a line speaks of; more: how many besides have no room in it."""

    first: str
    others: Sequence[str]
    more: int


def in_short(alerts: Sequence[Alert]) -> InShort:
    """Of one patient's alerts, in their order: the first always, others while two lines hold them."""
    first, *rest = [short_title_of(alert) for alert in alerts]
    room, others = TWO_LINES - len(first), []
    for index, name in enumerate(rest):
        room -= len(name) + 2
        if room < (AND_MORE if index + 1 < len(rest) else 0):
            break
        others.append(name)
    return InShort(first, others, len(rest) - len(others))
