"""A number is read as it was typed, with comma or point, or refused: it never becomes another one."""

from __future__ import annotations

import pytest
from django import forms
from django.core.exceptions import ValidationError
from django.utils import translation
from hypothesis import assume, given
from hypothesis import strategies as st

from homedialysis.accounts.pages.typed_numbers import EITHER, NumberField, WholeNumberField, as_typed, read_typed


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("8,3", 8.3), ("8.3", 8.3), (" 8.3 ", 8.3), ("158,4", 158.4), ("0,125", 0.125), ("0.125", 0.125),
        ("1.234,5", 1234.5), ("1,234.5", 1234.5), ("1 234,5", 1234.5), ("1\u202f234", 1234), ("1’234.5", 1234.5),
        ("1.234.567", 1234567), ("1234", 1234), ("1234.567", 1234.567), ("-0,5", -0.5), ("−2", -2), (".5", 0.5),
        ("1.2340", 1.234),
    ],
)  # fmt: skip
def test_as_people_type_them(text: str, number: float) -> None:
    assert read_typed(text) == number


@pytest.mark.parametrize(
    "text",
    ["abc", "8,", "8.3.1", "1,2,3", "1e3", "8 3", "12 34", "1.23,4", "nan", "inf", "0x10", "--1", "1_0", "1,234,5"],
)
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(ValidationError, match="is not a number"):
        read_typed(text)


@pytest.mark.parametrize(("text", "ways"), [("1,234", ("1234", "1,2340")), ("1.500", ("1500", "1.5000"))])
def test_a_thousand_that_could_be_a_decimal_is_refused(text: str, ways: tuple[str, str]) -> None:
    with pytest.raises(ValidationError) as refused:
        read_typed(text)
    assert all(each in refused.value.messages[0] for each in ways)


@given(st.floats(min_value=-1e6, max_value=1e6, allow_nan=False).map(lambda number: round(number, 4)))
def test_what_is_shown_is_read_back_in_either_language(number: float) -> None:
    for language in ("en", "es"):
        with translation.override(language):
            assert read_typed(as_typed(number)) == number


@given(st.integers(0, 10**7), st.text("0123456789", min_size=1, max_size=6), st.sampled_from(",."))
def test_no_sign_is_ever_dropped(whole: int, behind: str, sign: str) -> None:
    text = f"{whole}{sign}{behind}"
    assume(not EITHER.fullmatch(text))
    assert read_typed(text) == float(f"{whole}.{behind}")


def test_fields_hold_their_limits_and_whole_numbers() -> None:
    class Form(forms.Form):
        low = NumberField(min_value=1, max_value=5)
        whole = WholeNumberField(required=False)

    form = Form({"low": "5,5", "whole": "2,5"})
    assert "less than or equal to 5" in form.errors["low"][0]
    assert form.errors["whole"] == ["A whole number is needed; 2.5 was given."]
    good = Form({"low": "4,5", "whole": "3"})
    assert good.is_valid()
    assert good.cleaned_data == {"low": 4.5, "whole": 3}
    assert 'type="number"' not in str(form)
