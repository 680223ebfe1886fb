"""A choice that nobody made yet is said in words."""

from __future__ import annotations

import pytest
from django.forms import BaseForm

from alerts.pages.forms_acting import RotaTurnForm
from homedialysis.accounts.pages.forms import DASHES
from homedialysis.accounts.pages.forms_unit import OpeningHoursForm
from sessions.pages.forms import EnrolForm, PrescriptionForm, SiteForm

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "form",
    [OpeningHoursForm(), EnrolForm(), SiteForm(), PrescriptionForm(), RotaTurnForm([])],
    ids=lambda form: type(form).__name__,
)
def test_no_form_shows_dashes(form: BaseForm) -> None:
    assert DASHES not in str(form)


def test_what_has_to_be_chosen_says_so_and_the_choices_stay() -> None:
    shown = str(SiteForm()["use"])
    assert '<option value="" selected>Choose</option>' in shown
    assert 'value="arterial"' in shown
