"""How far a number can be relied on: said by what was stored, the same for a night and a month."""

from __future__ import annotations

import json

from dosing.science.reasons import Reason
from dosing.science.results import measure, unknown
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.numbers.kept import KeptNumber, as_stored
from dosing.services.numbers.number import Computation
from dosing.services.numbers.standing import NumberInterval, Standing

NUMBER = NIGHT_NUMBERS["single_pool_ktv"]
DOUBT = Reason("sample_was_late")


def kept(found: Computation) -> KeptNumber:
    return KeptNumber(NUMBER, json.loads(json.dumps(as_stored(NUMBER, found))))


def test_a_number_is_sure_doubtful_or_unknown() -> None:
    known = measure(1.4, "1")
    assert kept(Computation({}, known)).standing == Standing.SURE
    doubtful = kept(Computation({}, known, doubts=(DOUBT,)))
    assert (doubtful.standing, doubtful.doubts, len(doubtful.doubt_words)) == (Standing.DOUBTFUL, [DOUBT], 1)
    nothing = kept(Computation({}, unknown("1", Reason("no_urea_pair")), doubts=(DOUBT,)))
    assert (nothing.standing, nothing.doubts) == (Standing.UNKNOWN, []), "nothing is left to doubt"
    assert KeptNumber(NUMBER).standing == Standing.UNKNOWN


def test_an_interval_comes_back_as_it_was() -> None:
    interval = NumberInterval(1.2, 1.6, 0.9)
    assert kept(Computation({}, measure(1.4, "1"), interval=interval)).interval == interval
    assert kept(Computation({}, measure(1.4, "1"))).interval is None
