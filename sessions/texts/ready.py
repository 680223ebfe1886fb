"""Ready-made words that the phone puts into records: the record keeps a code, each reader reads it in their language.

A code stands in a text between brackets that nobody can type at the bedside, with what fills its words behind it:
`⟦felt⟧: ⟦dizzy⟧`, `⟦sooner|n=12|all=30⟧`. Everything around it stands as typed. The kit hands these words to the phone.
"""

from __future__ import annotations

import re

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

READY = {
    # A drop of blood pressure: what was felt, what was done, whether it got better.
    "felt": _("Felt"),
    "dizzy": _("dizzy"),
    "sweating": _("sweating"),
    "nausea": _("nausea"),
    "cramp": _("cramp"),
    "seeing_badly": _("seeing badly"),
    "very_tired": _("very tired"),
    "nothing": _("nothing"),
    "done": _("Done"),
    "uf_off": _("UF off"),
    "head_low": _("head low, legs up"),
    "saline_given": _("saline given"),
    "pump_slower": _("pump slower"),
    "treatment_ended": _("treatment ended"),
    "better": _("Better"),
    "a_little": _("a little"),
    "yes": _("yes"),
    "no": _("no"),
    # Why somebody goes on after a check that failed, and why a site was left.
    "unit_said_so": _("The unit said so on the telephone"),
    "checked_again": _("Checked again in another way, and good"),
    "not_tonight": _("Does not apply tonight"),
    "given_up": _("Given up for another site"),
    # Medicines that have a place of their own.
    "heparin": _("Heparin"),
    "low_molecular": _("Low-molecular-weight heparin"),
    "heparin_rate": _("Heparin rate"),
    "units": _("units"),
    "units_h": _("units/h"),
    # Steps of the run sheet and of the end: what was answered, and what the phone stamps by itself.
    "sharp": _("Sharp"),
    "blunt": _("Blunt"),
    "plastic": _("Plastic"),
    "another_attempt": _("Another attempt"),
    "all_the_same": _("gone on all the same"),
    "sooner": _("gone on after {n} of {all} s"),
    "no_answer": _("no answer"),
    "freely": _("easily, no swelling and no pain"),
    "not_freely": _("hard to push, swelling or pain"),
    "not_given": _("not given"),
    "none_prescribed": _("none prescribed"),
    "set_to": _("set on the machine: {what}"),
    "heparin_off": _("Heparin stopped"),
    "running": _("Treatment is running"),
    "reading_missed": _("Reading missed"),
    "ended": _("Blood is back, treatment ended"),
    "needle_out": _("Needle out: {site}"),
}
"""Code -> its words in English, with a place in braces for each part."""

_CODED = re.compile(r"⟦(\w+)((?:\|\w+=[^⟦⟧|]*)*)⟧")


def coded(code: str) -> str:
    """The code of READY as it stands in a text of a record. Raises ValueError where there is none such."""
    if code not in READY:
        raise ValueError(f"code must be one of {', '.join(READY)}; {code!r} was given.")
    return f"⟦{code}⟧"


def words_of(text: str) -> str:
    """A text of a record in the language of the moment. A code that nobody knows any more is shown as it stands."""
    return _CODED.sub(_read, text)


def ready_words() -> dict[str, str]:
    """Code -> its words in the language of the moment, with a place in braces for each part."""
    return {code: gettext(words) for code, words in READY.items()}


def _read(found: re.Match[str]) -> str:
    if found[1] not in READY:
        return found[0]
    parts = dict(part.split("=", 1) for part in found[2].split("|")[1:])
    return re.sub(r"\{(\w+)\}", lambda place: parts.get(place[1], place[0]), gettext(READY[found[1]]))
