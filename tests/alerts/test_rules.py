"""Each rule: a night that fires it, one just inside the limit that does not, one of which it can say nothing.

The limits are those of `alerts.limits`, which name their sources; the numbers here are worked by hand.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from alerts.services.limit_setting import set_limit
from homedialysis.accounts.models import User
from sessions.models import AccessSite, Patient, Prescription
from tests.alerts.builders import DAY, alerts_of, evaluated, reading, reasons_of, sentences_of
from tests.factories import A_NIGHT

pytestmark = pytest.mark.usefixtures("anas_prescription")


def at_minute(minute: int, **columns: float) -> dict[str, Any]:
    return reading(A_NIGHT, minute, **columns)


def event(kind: str, minute: int = 90, night: int = 0, note: str = "") -> dict[str, Any]:
    return {"at": (A_NIGHT + night * 2 * DAY + timedelta(minutes=minute)).isoformat(), "kind": kind, "note": note}


class TestUfRate:
    """The prescription's own limit is 10 mL/kg/h: 2.8 L in four hours at 70 kg is exactly that."""

    def test_over(self, ana: Patient) -> None:
        evaluated(ana, {"uf_removed_l": 2.85})
        assert sentences_of("uf_rate") == ["UF rate 10.2 mL/kg/h on 2 Mar, over the limit of 10 mL/kg/h."]
        assert alerts_of("uf_rate")[0].source == "prescription 1, signed on 2025-01-01"

    def test_at_the_limit(self, ana: Patient) -> None:
        evaluated(ana, {"uf_removed_l": 2.8})
        assert alerts_of("uf_rate") == []

    def test_without_weight_after(self, ana: Patient) -> None:
        (record,) = evaluated(ana, {"uf_removed_l": 4, "post_weight_kg": None})
        assert alerts_of("uf_rate") == []
        assert reasons_of(record, "uf_rate") == ["weight after is not given"]


class TestUfRateLine:
    """At 70 kg the published line is 710 mL/h, 10.1 mL/kg/h: 2.85 L in four hours are over it, 2.8 L are not."""

    @pytest.fixture(autouse=True)
    def prescription_allows_more(self, anas_prescription: Prescription) -> None:
        anas_prescription.uf_rate_limit_ml_kg_h = 13
        anas_prescription.save()

    @pytest.fixture
    def chosen(self, nurse: User) -> None:
        set_limit(name="uf_rate_line", patient=None, value=100, why="Agreed.", by=nurse, at=A_NIGHT - DAY)

    @pytest.mark.usefixtures("chosen")
    def test_over(self, ana: Patient) -> None:
        evaluated(ana, {"uf_removed_l": 2.85})
        assert alerts_of("uf_rate") == []
        assert sentences_of("uf_rate_line") == [
            "UF rate 10.2 mL/kg/h on 2 Mar, over 100 % of the line that grows with weight."
        ]
        assert "set for the unit by Nurse Kim" in alerts_of("uf_rate_line")[0].source

    @pytest.mark.usefixtures("chosen")
    def test_just_inside(self, ana: Patient) -> None:
        evaluated(ana, {"uf_removed_l": 2.82})
        assert alerts_of("uf_rate_line") == []

    @pytest.mark.usefixtures("chosen")
    def test_without_weight_after(self, ana: Patient) -> None:
        evaluated(ana, {"uf_removed_l": 4, "post_weight_kg": None})
        assert alerts_of("uf_rate_line") == []

    def test_not_chosen(self, ana: Patient) -> None:
        evaluated(ana, {"uf_removed_l": 2.85})
        assert alerts_of("uf_rate_line") == []


class TestOffTarget:
    """Target 70 kg; off by more than 1 kg or 2 % (1.4 kg) on two treatments running."""

    def test_twice_above(self, ana: Patient) -> None:
        evaluated(ana, {"post_weight_kg": 71.1}, {"post_weight_kg": 71.3})
        expected = (
            "Weight after treatment 1.3 kg above target in 2 treatments from 2 Mar to 4 Mar, more than once running."
        )
        assert sentences_of("off_target") == [expected]

    def test_once_above_once_below(self, ana: Patient) -> None:
        evaluated(ana, {"post_weight_kg": 71.5}, {"post_weight_kg": 68.5})
        assert alerts_of("off_target") == []

    def test_twice_at_the_limit(self, ana: Patient) -> None:
        evaluated(ana, {"post_weight_kg": 71.0}, {"post_weight_kg": 71.0})
        assert alerts_of("off_target") == []

    def test_two_per_cent_of_a_light_patient(self, ana: Patient, anas_prescription: Prescription) -> None:
        anas_prescription.target_weight_kg = 40
        anas_prescription.save()
        evaluated(ana, {"post_weight_kg": 40.9}, {"post_weight_kg": 40.9})
        (alert,) = alerts_of("off_target")
        assert [(item["value"], item["limit"]) for item in alert.evidence] == [(0.9, 0.8)] * 2

    def test_an_unweighed_night_between_does_not_break_the_run(self, ana: Patient) -> None:
        _, unweighed, _ = evaluated(ana, {"post_weight_kg": 71.5}, {"post_weight_kg": None}, {"post_weight_kg": 71.5})
        assert len(alerts_of("off_target")) == 1
        assert reasons_of(unweighed, "off_target") == ["weight after is not given"]


class TestLowPressure:
    """Flythe 2015: lowest under 90, or under 100 where the pressure before was 160 or more."""

    def test_under_90(self, ana: Patient) -> None:
        evaluated(ana, {"readings": [at_minute(60), at_minute(120, systolic=89)]})
        assert sentences_of("systolic_low") == ["Systolic pressure 89 mmHg on 2 Mar, under the limit of 90 mmHg."]

    def test_90(self, ana: Patient) -> None:
        evaluated(ana, {"readings": [at_minute(120, systolic=90)]})
        assert alerts_of("systolic_low") == []

    def test_99_after_160_before(self, ana: Patient) -> None:
        evaluated(ana, {"pre_systolic": 160, "readings": [at_minute(120, systolic=99)]})
        assert sentences_of("systolic_low") == ["Systolic pressure 99 mmHg on 2 Mar, under the limit of 100 mmHg."]

    def test_99_after_159_before(self, ana: Patient) -> None:
        evaluated(ana, {"pre_systolic": 159, "readings": [at_minute(120, systolic=99)]})
        assert alerts_of("systolic_low") == []

    def test_standing_afterwards(self, ana: Patient) -> None:
        evaluated(ana, {"post_standing_systolic": 84})
        assert [line["label"] for line in alerts_of("systolic_low")[0].evidence] == ["Systolic after, standing"]

    def test_nothing_noted(self, ana: Patient) -> None:
        none = {"pre_systolic": None, "pre_diastolic": None, "post_systolic": None, "post_diastolic": None}
        (record,) = evaluated(ana, none | {"readings": []})
        assert alerts_of("systolic_low") == []
        assert reasons_of(record, "systolic_low") == ["no blood pressure was noted"]


class TestHighPressure:
    @pytest.mark.parametrize(
        ("pressures", "said"),
        [
            ({"pre_systolic": 180}, "systolic before 180 mmHg (limit 180)"),
            ({"pre_diastolic": 112}, "diastolic before 112 mmHg (limit 110)"),
            (
                {"pre_systolic": 190, "pre_diastolic": 115},
                "systolic before 190 mmHg (limit 180), diastolic before 115 mmHg (limit 110)",
            ),
        ],
    )
    def test_at_or_over(self, ana: Patient, pressures: dict[str, float], said: str) -> None:
        evaluated(ana, pressures)
        assert sentences_of("pressure_high") == [f"Very high pressure on 2 Mar: {said}."]

    def test_just_under(self, ana: Patient) -> None:
        evaluated(ana, {"pre_systolic": 179, "pre_diastolic": 109})
        assert alerts_of("pressure_high") == []

    def test_not_noted(self, ana: Patient) -> None:
        (record,) = evaluated(ana, {"pre_systolic": None, "pre_diastolic": None})
        assert reasons_of(record, "pressure_high") == ["no blood pressure before treatment was noted"]


class TestCircuit:
    @pytest.mark.parametrize(
        ("rule", "column", "beyond", "inside", "sentence"),
        [
            (
                "arterial_low",
                "arterial_mmhg",
                -251,
                -250,
                "Arterial pressure -251 mmHg on 2 Mar, under the limit of -250 mmHg.",
            ),
            ("venous_high", "venous_mmhg", 251, 250, "Venous pressure 251 mmHg on 2 Mar, over the limit of 250 mmHg."),
            ("venous_low", "venous_mmhg", 19, 20, "Venous pressure 19 mmHg on 2 Mar, under the limit of 20 mmHg."),
        ],
    )
    def test_beyond_and_just_inside(
        self, ana: Patient, rule: str, column: str, beyond: float, inside: float, sentence: str
    ) -> None:
        evaluated(ana, {"readings": [at_minute(60, **{column: inside}), at_minute(120)]})
        assert alerts_of(rule) == []
        evaluated(ana, {"readings": [reading(A_NIGHT + 2 * DAY, 60, **{column: beyond})]}, first=1)
        assert sentences_of(rule) == [sentence.replace("2 Mar", "4 Mar")]

    def test_readings_at_slow_flow_do_not_count(self, ana: Patient) -> None:
        usual = [at_minute(minute) for minute in (60, 120, 180)]
        evaluated(ana, {"readings": [*usual, at_minute(235, qb_ml_min=100, venous_mmhg=15, arterial_mmhg=-300)]})
        assert alerts_of("venous_low") == []
        assert alerts_of("arterial_low") == []

    def test_a_reading_without_its_flow_counts_against_the_upper_limit_only(self, ana: Patient) -> None:
        bare = {"at": (A_NIGHT + timedelta(minutes=60)).isoformat()}
        evaluated(ana, {"readings": [bare | {"venous_mmhg": 280}, at_minute(120)]})
        assert len(alerts_of("venous_high")) == 1
        evaluated(ana, {"readings": [bare | {"at": (A_NIGHT + 2.1 * DAY).isoformat(), "venous_mmhg": 5}]}, first=1)
        assert alerts_of("venous_low") == []

    def test_no_pressures_noted(self, ana: Patient) -> None:
        (record,) = evaluated(ana, {"readings": []})
        assert reasons_of(record, "venous_high") == ["no venous pressure at treatment flow was noted"]
        assert reasons_of(record, "arterial_low") == ["no arterial pressure at treatment flow was noted"]


class TestShort:
    """240 minutes prescribed."""

    def test_much_shorter_once(self, ana: Patient) -> None:
        evaluated(ana, {"minutes": 178})
        assert sentences_of("short") == ["Treatment shortened to 74 % of the prescribed time on 2 Mar."]

    def test_three_quarters_once(self, ana: Patient) -> None:
        evaluated(ana, {"minutes": 180})
        assert alerts_of("short") == []

    def test_a_little_shorter_twice_in_three(self, ana: Patient) -> None:
        evaluated(ana, {"minutes": 210}, {}, {"minutes": 205})
        expected = "Treatment shortened to 85 % of the prescribed time at worst, in 2 treatments from 2 Mar to 6 Mar."
        assert sentences_of("short") == [expected]

    def test_nine_tenths_every_time(self, ana: Patient) -> None:
        evaluated(ana, {"minutes": 216}, {"minutes": 216}, {"minutes": 216})
        assert alerts_of("short") == []

    def test_while_it_is_still_open(self, ana: Patient) -> None:
        (record,) = evaluated(ana, {"status": "open", "ended_at": None})
        assert alerts_of("short") == []
        assert reasons_of(record, "short") == []

    def test_without_a_prescription(self, ben: Patient) -> None:
        (record,) = evaluated(ben, {"minutes": 60})
        assert alerts_of("short") == []
        assert reasons_of(record, "short") == ["prescribed time is not given"]


class TestSymptoms:
    @pytest.mark.parametrize(
        ("kind", "title"),
        [
            ("needle_dislodged", "Needle came out"),
            ("air", "Air in the line"),
            ("chest_pain", "Chest pain"),
            ("breathless", "Short of breath"),
            ("fainted", "Fainted"),
            ("bleeding", "Bleeding that was hard to stop"),
            ("fever_chills", "Fever or shivering"),
            ("access_redness", "Redness, pain or pus at the access"),
        ],
    )
    def test_these_want_a_call_today(self, ana: Patient, kind: str, title: str) -> None:
        evaluated(ana, {"events": [event(kind, note="at two in the morning")]})
        (alert,) = alerts_of("symptom")
        assert (alert.cause, alert.title, alert.get_urgency_display()) == (kind, title, "Call today")
        assert alert.sentence == f"{title} on 2 Mar, as the patient wrote."
        assert alert.evidence[0]["words"] == "at two in the morning"

    def test_it_does_not_wait_for_the_record_to_be_finished(self, ana: Patient) -> None:
        evaluated(ana, {"status": "open", "ended_at": None, "events": [event("fainted")]})
        assert len(alerts_of("symptom")) == 1

    @pytest.mark.parametrize("kind", ["cramp", "dizzy", "headache", "nausea", "clotting", "machine_alarm"])
    def test_these_when_they_come_twice_in_three(self, ana: Patient, kind: str) -> None:
        evaluated(ana, {"events": [event(kind)]}, {})
        assert alerts_of("symptom") == []
        evaluated(ana, {"events": [event(kind, night=2)]}, first=2)
        (alert,) = alerts_of("symptom")
        assert (alert.limit, alert.get_urgency_display()) == ("2 of 3 treatments", "This week")

    def test_twice_in_four_is_not_enough(self, ana: Patient) -> None:
        evaluated(ana, {"events": [event("cramp")]}, {}, {}, {"events": [event("cramp", night=3)]})
        assert alerts_of("symptom") == []

    def test_twice_in_one_night_is_not_enough(self, ana: Patient) -> None:
        evaluated(ana, {"events": [event("cramp", 60), event("cramp", 120)]})
        assert alerts_of("symptom") == []


class TestBleeding:
    def sites(self, anas_sites: list[AccessSite], minutes: float | None) -> dict[str, Any]:
        return {"sites": [{"site": anas_sites[0].pk, "use": "arterial", "attempts": 1, "bleeding_minutes": minutes}]}

    def test_over_20_minutes_twice_in_three(self, ana: Patient, anas_sites: list[AccessSite]) -> None:
        nights = [self.sites(anas_sites, minutes) for minutes in (21, 8, 25)]
        evaluated(ana, *nights)
        expected = (
            "Bleeding after needles 25 min at worst, in 2 treatments from 2 Mar to 6 Mar, over the limit of 20 min."
        )
        assert sentences_of("bleeding") == [expected]

    def test_20_minutes_every_time(self, ana: Patient, anas_sites: list[AccessSite]) -> None:
        evaluated(ana, *[self.sites(anas_sites, 20)] * 3)
        assert alerts_of("bleeding") == []

    def test_a_night_without_a_time_is_passed_over(self, ana: Patient, anas_sites: list[AccessSite]) -> None:
        evaluated(ana, *[self.sites(anas_sites, minutes) for minutes in (25, None, None, 25)])
        assert len(alerts_of("bleeding")) == 1
