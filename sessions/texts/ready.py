"""Ready-made words that the phone puts into records, in English: here they are put into the words of the reader.

The scripts of the bedside mark the same words with `kept(…)`.
"""

from __future__ import annotations

import re

from django.utils.translation import gettext, gettext_noop

READY = (
    # A drop of blood pressure: what was felt, what was done, whether it got better.
    gettext_noop("Felt"),
    gettext_noop("dizzy"),
    gettext_noop("sweating"),
    gettext_noop("nausea"),
    gettext_noop("cramp"),
    gettext_noop("seeing badly"),
    gettext_noop("very tired"),
    gettext_noop("nothing"),
    gettext_noop("Done"),
    gettext_noop("UF off"),
    gettext_noop("head low, legs up"),
    gettext_noop("saline given"),
    gettext_noop("pump slower"),
    gettext_noop("treatment ended"),
    gettext_noop("Better"),
    gettext_noop("yes"),
    gettext_noop("a little"),
    gettext_noop("no"),
    # Why somebody goes on after a check that failed, and why a site was left.
    gettext_noop("The unit said so on the telephone"),
    gettext_noop("Checked again in another way, and good"),
    gettext_noop("Does not apply tonight"),
    gettext_noop("Given up for another site"),
    # Medicines that have a place of their own.
    gettext_noop("Heparin"),
    gettext_noop("Low-molecular-weight heparin"),
    gettext_noop("Heparin rate"),
    gettext_noop("units"),
    gettext_noop("units/h"),
)
_LONGEST_FIRST = sorted(READY, key=len, reverse=True)
_TOKEN = re.compile("|".join(map(re.escape, _LONGEST_FIRST)))


def read(text: str) -> str:
    """Words out of a record in the language of the moment: each part that is ready-made; the others stand as typed."""
    return ": ".join(_part(part) for part in text.split(": "))


def _part(part: str) -> str:
    if re.search(r"[^\s;,.]", _TOKEN.sub("", part)):
        return part
    return _TOKEN.sub(lambda found: gettext(found[0]), part)
