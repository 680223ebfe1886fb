"""Ready-made words that the phone puts into records: the record keeps a code, each reader reads it in their language.

A code stands in a text between brackets that nobody can type at the bedside, with what fills its words behind it:
`⟦felt⟧: ⟦dizzy⟧`, `⟦sooner|n=12|all=30⟧`. Everything around it stands as typed. The kit hands these words to the phone.
"""

from __future__ import annotations

import re

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

READY = {
    # A drop of blood pressure: what was felt.
    "felt": _("Felt"),
    "dizzy": _("dizzy"),
    "sweating": _("sweating"),
    "nausea": _("nausea"),
    "cramp": _("cramp"),
    "seeing_badly": _("seeing badly"),
    "very_tired": _("very tired"),
    "nothing": _("nothing"),
    # Why somebody goes on after a check that failed, and why a site was left.
    "weighed_unusual": _("What was measured before the treatment is unusual"),
    "unit_said_so": _("The unit said so on the telephone"),
    "checked_again": _("Checked again in another way, and good"),
    "not_tonight": _("Does not apply this time"),
    "given_up": _("Given up for another site"),
    # Answers on the way through trouble: whole phrases, so that none can mean its opposite.
    "no_blood": _("There is no blood"),
    "blood_seen": _("There is blood"),
    "uf_is_off": _("Fluid removal is off"),
    "uf_not_off": _("I cannot turn it off"),
    "saline_none": _("I gave no saline"),
    "saline_was_given": _("I gave saline"),
    "feel_better": _("I feel better"),
    "feel_little": _("I feel a little better: rest and measure again"),
    "feel_not": _("I do not feel better"),
    "unit_spoken": _("I spoke with the unit"),
    "unit_not_reached": _("I did not reach the unit"),
    "uf_on_again": _("Fluid removal is on again"),
    "uf_left_off": _("It goes on with fluid removal off"),
    "treatment_over": _("I end the treatment"),
    "emergency_called": _("I called the emergency number"),
    "emergency_not_yet": _("I have not reached the emergency number yet"),
    "blood_all": _("All of it was given back"),
    "blood_part": _("A part of it was given back"),
    "blood_none": _("The blood was not given back"),
    "pump_runs": _("The pump runs again"),
    "not_swollen_pump_runs": _("It is not swollen, and the pump runs again"),
    "swollen_again": _("It is swollen again"),
    "signs_none": _("None of these"),
    "signs_some": _("At least one of these"),
    "at_arterial": _("At the needle that takes blood out"),
    "at_venous": _("At the needle that gives blood back"),
    "unit_end": _("The unit said: end the treatment"),
    "unit_go_on": _("The unit said: go on"),
    "unit_new_needle": _("The unit said: a new needle"),
    "no_other_place": _("No other place is left for a needle"),
    "place_after_all": _("There is a place after all"),
    "unit_new_lines": _("The unit said: new lines and dialyser"),
    "lines_ready": _("The new lines are ready"),
    "alarm_gone": _("The alarm is gone, and the pump runs"),
    "alarm_stays": _("The alarm is still there"),
    "power_back": _("The power is back, and the pump runs"),
    "power_off": _("There is no power"),
    "by_hand": _("The blood is back, by hand"),
    "all_clamped": _("Lines and needles are clamped"),
    "water_back": _("The water is back, and the treatment runs"),
    "water_off": _("There is no water"),
    "not_measured": _("I cannot measure now"),
    "new_needle": _("The new needle is in"),
    # What the phone notes among the trainings.
    "practised": _("Practice of a treatment on the phone"),
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
    "yes": _("yes"),
    "no": _("no"),
    "freely": _("easily, no swelling and no pain"),
    "not_freely": _("hard to push, swelling or pain"),
    "not_given": _("not given"),
    "set_to": _("set on the machine: {what}"),
    "heparin_off": _("Heparin stopped"),
    "running": _("Treatment is running"),
    "reading_missed": _("Reading missed"),
    "ended": _("Blood is back, treatment ended"),
    "ended_without": _("Treatment ended, the blood is not all back"),
    "ended_before": _("Ended before it ran"),
    "needle_out": _("Needle out: {site}"),
}
"""Code -> its words in English, with a place in braces for each part."""
FORMER = {
    "done": _("Done"),
    "uf_off": _("UF off"),
    "head_low": _("head low, legs up"),
    "saline_given": _("saline given"),
    "pump_slower": _("pump slower"),
    "treatment_ended": _("treatment ended"),
    "better": _("Better"),
    "a_little": _("a little"),
}
"""The same of what the phone of 0.2.0 wrote of a drop of blood pressure: records of then are read on."""
TOPICS = {
    "supervised": _("Treatment at home under supervision"),
    "access_care": _("Needling and care of the access, after an infection"),
    "catheter_care": _("Care of the catheter, after an infection"),
}
"""Topics of trainings that the program asks for by itself: no phone writes them."""
KNOWN = READY | FORMER | TOPICS

_CODED = re.compile(r"⟦(\w+)((?:\|\w+=[^⟦⟧|]*)*)⟧")


def coded(code: str) -> str:
    """The code of READY or TOPICS as it stands in a row. Raises ValueError where there is none such."""
    if code not in READY | TOPICS:
        raise ValueError(f"code must be one of {', '.join(READY | TOPICS)}; {code!r} was given.")
    return f"⟦{code}⟧"


def topic_of(typed: str) -> str:
    """A topic as it is kept: by its code where it was typed in the words of the language of the moment."""
    said = typed.strip()
    codes = (code for code, words in TOPICS.items() if gettext(words).casefold() == said.casefold())
    code = next(codes, None)
    return coded(code) if code else said


def words_of(text: str) -> str:
    """A text of a record in the language of the moment. A code that nobody knows any more is shown as it stands."""
    return _CODED.sub(_read, text)


def ready_words() -> dict[str, str]:
    """Code -> its words in the language of the moment, with a place in braces for each part."""
    return {code: gettext(words) for code, words in (READY | FORMER).items()}


def _read(found: re.Match[str]) -> str:
    if found[1] not in KNOWN:
        return found[0]
    parts = dict(part.split("=", 1) for part in found[2].split("|")[1:])
    return re.sub(r"\{(\w+)\}", lambda place: parts.get(place[1], place[0]), gettext(KNOWN[found[1]]))
