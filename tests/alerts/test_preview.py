"""What a limit would have done to the last 90 days, by the same rules, before anybody sets it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from alerts.models import Alert, Limit
from alerts.services.limit_preview import Preview, preview
from alerts.services.limit_setting import limit_row, set_limit
from homedialysis.accounts.models import User
from sessions.models import Analyte, Patient, Prescription
from tests.alerts.builders import DAY, evaluated, reading
from tests.crowd import ours
from tests.factories import A_NIGHT, BloodFactory, PrescriptionFactory, record_night

NOW = A_NIGHT + 60 * DAY


def pressures(*values: float) -> list[dict[str, Any]]:
    return [
        {"readings": [reading(A_NIGHT + index * 2 * DAY, 60, venous_mmhg=value)]} for index, value in enumerate(values)
    ]


def shown(value: float | None, by: User, patient: Patient | None = None, name: str = "venous_high") -> Preview:
    row = limit_row(name=name, patient=patient, value=value, why="x", by=by, at=NOW)
    return preview(row, at=NOW)


@pytest.fixture
def nights(ana: Patient, ben: Patient, anas_prescription: Prescription) -> None:
    """Ana: 240, 260, 240, 270 mmHg every other day, later 245; Ben 235 once."""
    PrescriptionFactory(patient=ben, version=1)
    evaluated(ana, *pressures(240, 260, 240, 270), *[{}] * 10)
    evaluated(ana, {"readings": [reading(A_NIGHT + 30 * DAY, 60, venous_mmhg=245)]}, first=15)
    evaluated(ben, *pressures(235))


@pytest.mark.usefixtures("nights")
class TestPreview:
    def test_a_lower_limit_adds(self, nurse: User) -> None:
        found = shown(230, nurse)
        assert (found.before, found.after) == (1, 3)
        added = [(run.patient.name, [night.isoformat() for night in run.nights]) for run in found.added]
        assert added == [("Ana Verdemar", ["2026-04-01"]), ("Ben Okonjo", ["2026-03-02"])]
        assert found.added[1].sentence == "Venous pressure 235 mmHg on 2 Mar, over the limit of 230 mmHg."
        assert (found.nights_added, found.nights_removed) == (4, 0)
        assert (found.patients, found.treatments) == (2, 16)

    def test_a_higher_one_spares(self, nurse: User) -> None:
        found = shown(265, nurse)
        assert (found.before, found.after, found.added, found.removed) == (1, 1, (), ())
        assert (found.nights_added, found.nights_removed) == (0, 1)
        found = shown(280, nurse)
        assert [run.patient.name for run in found.removed] == ["Ana Verdemar"]

    def test_for_one_patient_only_hers(self, nurse: User, ben: Patient) -> None:
        found = shown(230, nurse, ben)
        assert (found.patients, found.before, found.after) == (1, 0, 1)

    def test_a_patient_with_a_limit_of_her_own_keeps_it(self, nurse: User, ana: Patient) -> None:
        set_limit(name="venous_high", patient=ana, value=300, why="x", by=nurse, at=A_NIGHT - 40 * DAY)
        found = shown(230, nurse)
        assert [run.patient.name for run in found.added] == ["Ben Okonjo"]

    def test_the_wider_limit_again(self, nurse: User, ana: Patient) -> None:
        set_limit(name="venous_high", patient=ana, value=300, why="x", by=nurse, at=A_NIGHT - 40 * DAY)
        found = shown(None, nurse, ana)
        assert (found.before, found.after) == (0, 1)

    def test_the_same_value_changes_nothing(self, nurse: User) -> None:
        found = shown(250, nurse)
        assert (found.added, found.removed, found.nights_added, found.nights_removed) == ((), (), 0, 0)

    def test_it_agrees_with_the_alerts_that_were_opened(self, nurse: User) -> None:
        """What the present limit opens by the preview is what evaluation opened, night by night."""
        opened = {
            (alert.patient.pk, item["day"])
            for alert in ours(Alert).filter(rule="venous_high")
            for item in alert.evidence
        }
        runs = shown(400, nurse).removed
        assert len(opened) == 2
        assert {(run.patient.pk, night.isoformat()) for run in runs for night in run.nights} == opened

    def test_nothing_is_written(self, nurse: User) -> None:
        before = ours(Alert).count()
        shown(100, nurse)
        assert (ours(Alert).count(), ours(Limit).count()) == (before, 0)


def test_bloods(ana: Patient, anas_prescription: Prescription, nurse: User) -> None:
    """5.9 and 6.3 mmol/L, six days apart: one alert of the second at a limit of 6, none at the usual 6.5."""
    for days, value in ((30, 5.9), (36, 6.3)):
        BloodFactory(patient=ana, analyte=Analyte.POTASSIUM, value=value, drawn_at=A_NIGHT + days * DAY, timing="pre")
    found = shown(6, nurse, name="potassium_call_high")
    assert (found.before, found.after, found.nights_added) == (0, 1, 1)
    assert [run.nights for run in found.added] == [((A_NIGHT + 36 * DAY).date(),)]


def test_what_time_brings(ana: Patient, anas_prescription: Prescription, nurse: User) -> None:
    """Monday's treatment is missing on Tuesday at noon for who asks after 6 hours, not for who waits for 24."""
    Patient.objects.filter(pk=ana.pk).update(joined_on=A_NIGHT.date())
    for index in range(3):
        record_night(ana, A_NIGHT + index * 2 * DAY)
    tuesday = A_NIGHT + timedelta(days=7, hours=14, minutes=30)
    row = limit_row(name="missing_grace", patient=None, value=6, why="x", by=nurse, at=tuesday)
    found = preview(row, at=tuesday)
    assert (found.before, found.after) == (0, 1)
    assert [run.sentence for run in found.added] == ["No record of a treatment that was due on 9 Mar."]


def test_queries_do_not_grow_with_the_nights(
    ana: Patient, anas_prescription: Prescription, nurse: User, django_assert_max_num_queries: Any
) -> None:
    evaluated(ana, *pressures(*range(240, 260, 2)))
    with django_assert_max_num_queries(10):
        shown(245, nurse)


def test_the_old_limit_is_looked_at_where_it_held(ana: Patient, anas_prescription: Prescription, nurse: User) -> None:
    """A change to what holds already: each night keeps the limit of its day on the one side of the comparison."""
    evaluated(ana, *pressures(260))
    set_limit(name="venous_high", patient=ana, value=280, why="x", by=nurse, at=A_NIGHT + timedelta(hours=12))
    found = shown(280, nurse, ana)
    assert (found.before, found.after, len(found.removed)) == (1, 0, 1)
