"""Why a number is not known, in the language of the reader.

The science words its reasons in English and they are stored so; they are put into other words only where shown.
A reason without a translation stays in English rather than being hidden.
"""

from __future__ import annotations

import re

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

NOT_COMPUTED = _("not computed yet")
WHOLE = (
    _("fluid removed was not noted"),
    _("the end was not noted"),
    _("bleeding time was not noted"),
    _("neither the machine's total nor a blood flow was noted"),
    _("no urea before and after belongs to this treatment"),
    _("no prescription says how often a week"),
    _("no blood pressure was noted"),
    _("no reading at treatment flow was noted"),
    _("no reading of the blood flow"),
    _("a reading lacks its flow or its time"),
    _("a reading follows an empty one"),
    _("a reading lies outside the treatment"),
    _("the readings are not in order of time"),
    _("start and end of treatment do not fit"),
    _("the weights differ by more than a fifth"),
    _("diastolic pressure is not below systolic pressure"),
    _("urea after is not below urea before"),
    _("time since the last treatment is not given or outside 0.5 to 7 days"),
    _("urea after/before is outside 0.1 to 0.8"),
    _("fluid removed is above a tenth of the weight"),
    _("the urea ratio does not fit the length of the treatment"),
    _("weekly fluid does not fit volume and treatments"),
    _("the formula needs the sex as male or female"),
    _("a sample drawn 30 to 60 minutes after the end gives the equilibrated value directly"),
    _("the sample after was not protected from recirculated blood and reads too low"),
    _("the inputs do not give a finite number"),
)
"""Reasons as the science gives them."""
INPUTS = (
    *(_("age"), _("height"), _("weight"), _("weight before"), _("weight after"), _("last weight after")),
    *(_("target weight"), _("fluid removed"), _("rinse back"), _("intake"), _("volume"), _("weekly fluid")),
    *(_("treatment length"), _("delivered time"), _("prescribed time"), _("treatments a week")),
    *(_("blood flow"), _("blood pressure"), _("systolic pressure"), _("diastolic pressure")),
    *(_("urea before"), _("urea after"), _("single pool dose"), _("dose of a treatment"), _("kidney clearance")),
    *(_("start of treatment"), _("end of treatment"), _("time since the last treatment")),
)
"""Inputs as the science names them in the reasons below."""
UNITS = (_("minutes"), _("years"), _("days"))
PATTERNS = {
    re.compile(r"(?P<what>.+) is not given"): _("%(what)s is not given"),
    re.compile(r"(?P<what>.+) is not a finite number"): _("%(what)s is not a finite number"),
    re.compile(r"(?P<what>.+) is not above zero"): _("%(what)s is not above zero"),
    re.compile(r"(?P<what>.+) is below zero"): _("%(what)s is below zero"),
    re.compile(r"(?P<what>.+) is outside (?P<low>\S+) to (?P<high>\S+) ?(?P<unit>.*)"): _(
        "%(what)s is outside %(low)s to %(high)s %(unit)s"
    ),
}
"""How dosing/science/checks.py words what it refuses."""


def _translated(part: str) -> str:
    return gettext(part) if part else ""


def reason_words(reason: str) -> str:
    """A stored reason in the language of the reader; "" stays ""."""
    if not reason or reason in WHOLE or reason == NOT_COMPUTED:
        return gettext(reason) if reason else ""
    for pattern, words in PATTERNS.items():
        if found := pattern.fullmatch(reason):
            parts = {name: _translated(part) for name, part in found.groupdict().items()}
            return (gettext(words) % parts).strip()
    return reason
