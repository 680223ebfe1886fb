"""The crowd has a row of everything that hangs on a patient, also of what is new."""

from __future__ import annotations

import pytest
from django.db import models

from sessions.models import Patient, Reading
from sessions.services.takeout import as_json
from tests import crowd
from tests.factories import A_NIGHT

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("model", crowd.models_of_a_patient(), ids=lambda model: model._meta.label)
def test_there_is_a_row_of_hers(model: type[models.Model]) -> None:
    crowd.lay_out()
    hers = model._default_manager.filter(**{f"{crowd.path_to_patient(model)}__name": crowd.NAME})
    assert hers.exists()
    assert set(hers) == set(model._default_manager.all())


def test_what_hangs_on_a_patient_is_found_through_others() -> None:
    assert crowd.path_to_patient(Reading) == "record__patient"
    assert "ReviewAddendum" in {model.__name__ for model in crowd.models_of_a_patient()}


def test_a_test_s_own_rows_are_told_from_hers() -> None:
    crowd.lay_out()
    assert not crowd.ours(Reading).exists()
    assert Reading.objects.exists()


def test_her_word_stands_in_her_record() -> None:
    crowd.lay_out()
    hers = Patient.objects.get(name=crowd.NAME)
    assert "".join(as_json(hers, at=A_NIGHT)).count(crowd.WORD) > 50
