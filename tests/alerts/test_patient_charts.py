"""A patient's charts: what is drawn, where it is outside and why, and that Plotly accepts each figure, key by key."""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import plotly.graph_objects as go
import pytest
from django.contrib.staticfiles import finders
from django.test import Client
from django.utils import timezone

from alerts.limits.book import LimitBook
from alerts.models import Limit
from alerts.showing.courses import charts_of
from alerts.showing.patient_charts import PatientChart, charts_of_patient
from alerts.showing.plotly_figures import Figure, days_axis, figure_of_chart
from dosing.services.night.computing import numbers_of
from dosing.services.night.treatments import ComputedNight
from homedialysis.accounts.models import User
from homedialysis.accounts.services import units
from sessions.models import BloodResult, Patient
from tests.dosing.made_up import facts, night, ordered
from tests.factories import record_night

COLOUR = re.compile(r'"(--[a-z0-9-]+)"')
BEGAN = datetime(2026, 11, 2, 20, 0, tzinfo=UTC)
WITHIN = (BEGAN - timedelta(days=90), BEGAN)
POTASSIUM, PHOSPHATE = "2823-3", "2777-1"


def nights(count: int, *, a_week: int = 3, **changes: Any) -> list[ComputedNight]:
    found = []
    for place in range(count):
        record = night(**({"start": BEGAN + timedelta(days=2 * place)} | changes))
        record.prescription = ordered(target_weight_kg=70, uf_rate_limit_ml_kg_h=10, minutes=240, days_per_week=a_week)
        found.append(ComputedNight(record, numbers_of(facts(record)), stale=False))
    return found


def result(analyte: str, value: float, days: int = 0, timing: str = "pre") -> BloodResult:
    return BloodResult(analyte=analyte, value=value, timing=timing, drawn_at=BEGAN + timedelta(days=days))


BLOODS = [result(POTASSIUM, 6.1), result(POTASSIUM, 4.8, days=30), result(POTASSIUM, 3.2, timing="post")]


def charts(
    found: list[ComputedNight], bloods: list[BloodResult] = BLOODS, book: LimitBook | None = None
) -> dict[str, PatientChart]:
    made = charts_of_patient(found, dosed=found, bloods=bloods, book=book or LimitBook())
    return {chart.key: chart for chart in made}


def figures(found: list[ComputedNight]) -> dict[str, Figure]:
    return {key: figure_of_chart(chart, within=WITHIN) for key, chart in charts(found).items()}


def outside(chart: PatientChart) -> dict[str, list[str]]:
    return {each.name: [point.outside for point in each.points] for each in chart.series}


def coloured(figure: Figure) -> dict[str, Any]:
    """As the page's script does: names of the page's properties become colours."""
    found: dict[str, Any] = json.loads(COLOUR.sub('"#123456"', json.dumps(figure)))
    return found


@pytest.mark.parametrize("count", [0, 1, 3])
def test_plotly_accepts_every_chart(count: int) -> None:
    for figure in figures(nights(count)).values():
        assert len(go.Figure(coloured(figure)).data) == len(figure["data"])


def test_plotly_would_refuse_a_key_that_is_none() -> None:
    figure = coloured(figures(nights(1))["weight"])
    figure["data"][0]["colour"] = "red"
    with pytest.raises(ValueError, match="colour"):
        go.Figure(figure)


def test_treatments_dose_length_pressures_and_bloods_are_among_them() -> None:
    assert list(charts(nights(2))) == [
        "weight",
        "blood-pressure",
        "length",
        "single-pool",
        "blood-potassium",
        "uf-rate",
        "line-pressures",
    ]
    assert "weekly-dose" in charts(nights(2, a_week=5))
    assert list(charts([])) == ["blood-potassium"]
    assert charts([], []) == {}


def test_the_points_are_what_was_noted_computed_and_prescribed() -> None:
    shown = {key: {line["name"]: line["y"] for line in figure["data"]} for key, figure in figures(nights(1)).items()}
    assert shown["weight"] == {"before": [72.6], "after": [71.2], "target": [70], "outside its limit": [71.2]}
    assert shown["blood-pressure"] == {
        "before": [140],
        "after": [120],
        "lowest": [96],
        "diastolic before": [80],
        "most before": [180],
        "most after": [170],
        "least": [90],
    }
    assert shown["line-pressures"] == {
        "Venous, median": [135],
        "Arterial, median": [-145],
        "Blood flow, median": [300],
        "venous at most": [250],
        "venous at least": [20],
        "arterial not below": [-250],
    }
    assert shown["length"] == {"done": [4], "prescribed": [4]}
    assert shown["uf-rate"]["most"] == [10], "the prescription's own limit wins"
    assert shown["uf-rate"]["UF rate line by weight"] == [pytest.approx(3 + 500 / 71.2)]
    assert shown["uf-rate"]["UF rate"] == [pytest.approx(2900 / 4 / 71.2)]
    assert shown["blood-potassium"]["result"] == [6.1, 4.8], "not the one after a treatment"


@pytest.mark.parametrize(
    ("key", "line", "changes", "words"),
    [
        ("weight", "after", {"post_weight_kg": 71.3}, "1.3 kg over target, limit 1.0 kg"),
        ("weight", "after", {"post_weight_kg": 71.0}, ""),
        ("weight", "after", {"post_weight_kg": 68.7}, "1.3 kg under target, limit 1.0 kg"),
        ("blood-pressure", "before", {"pre_systolic": 181}, "over the limit of 180 mmHg"),
        ("blood-pressure", "before", {"pre_systolic": 180}, ""),
        ("blood-pressure", "lowest", {"post_systolic": 89}, "under the limit of 90 mmHg"),
        ("blood-pressure", "lowest", {"pre_systolic": 160}, "under the limit of 100 mmHg"),
        ("blood-pressure", "diastolic before", {"pre_diastolic": 111}, "over the limit of 110 mmHg"),
        ("length", "done", {"minutes": 213}, "89 % of what is prescribed, limit 90 %"),
        ("length", "done", {"minutes": 216}, ""),
        ("uf-rate", "UF rate", {"uf_removed_l": 2.9}, "over the limit of 10 mL/kg/h"),
        ("uf-rate", "UF rate", {"uf_removed_l": 2.8}, ""),
    ],
)
def test_a_point_outside_says_by_which_limit(key: str, line: str, changes: dict[str, Any], words: str) -> None:
    chart = charts(nights(1, **changes))[key]
    assert outside(chart)[line] == [words]
    drawn = figure_of_chart(chart, within=WITHIN)["data"]
    text = next(each["text"] for each in drawn if each["name"] == line)
    assert (words in text[0]) if words else text[0].count("<br>") == 1


def test_bloods_and_dose_are_held_against_the_limits_of_the_rules() -> None:
    found = charts(nights(1), [*BLOODS, result(POTASSIUM, 3.9, days=40)])
    assert outside(found["blood-potassium"]) == {
        "result": ["over the limit of 5.5 mmol/L", "", "under the limit of 4 mmol/L"]
    }
    assert outside(found["single-pool"]) == {"dose": [""]}
    for days, words in ((-9, "under the limit of 1.9"), (9, "")):
        row = Limit(name="single_pool_ktv", value=1.9, since=BEGAN + timedelta(days=days), set_by=User(name="Kim"))
        held = charts(nights(1), book=LimitBook(for_unit=(row,)))["single-pool"]
        assert outside(held) == {"dose": [words]}, "a limit judges no night before it"


def test_what_the_pointer_reads_has_a_local_day_and_a_unit(settings: Any) -> None:
    with timezone.override("America/Denver"):
        [potassium] = [line for line in figures(nights(1))["blood-potassium"]["data"] if line["name"] == "result"]
        assert potassium["text"][0] == "Mon 2 Nov 2026, 13:00<br>result: 6.1 mmol/L<br>over the limit of 5.5 mmol/L"
    for figure in figures(nights(2)).values():
        for line in figure["data"]:
            assert line.get("hoverinfo") == "skip" or line["hovertemplate"] == "%{text}<extra></extra>"


def test_each_line_has_a_point_for_each_night() -> None:
    for figure in (figures(nights(3))[key] for key in ("weight", "blood-pressure", "length", "line-pressures")):
        lines = [line for line in figure["data"] if line["name"] != "outside its limit"]
        assert [(len(line["x"]), len(line["y"])) for line in lines] == [(3, 3)] * len(lines)


def test_blood_flow_has_a_lane_of_its_own_and_is_never_drawn_among_pressures() -> None:
    figure = figures(nights(2))["line-pressures"]
    [flow] = [line for line in figure["data"] if line["name"] == "Blood flow, median"]
    assert flow["yaxis"] == "y2"
    assert figure["layout"]["yaxis2"]["domain"][1] < figure["layout"]["yaxis"]["domain"][0]


def test_what_is_not_known_is_a_gap_and_not_a_zero() -> None:
    lines = {line["name"]: line for line in figures(nights(1, post_weight_kg=None))["weight"]["data"]}
    assert lines["after"]["y"] == [None]
    assert all(line["connectgaps"] is False for line in lines.values())


def test_every_colour_is_a_property_of_the_page() -> None:
    styles = [
        finders.find(name)
        for name in ("bedside/css/tokens.css", "homedialysis/css/unit_tokens.css", "dosing/css/charts.css")
    ]
    known = "".join(Path(str(path)).read_text(encoding="utf-8") for path in styles)
    used = {name for figure in figures(nights(1)).values() for name in COLOUR.findall(json.dumps(figure))}
    assert used
    assert [name for name in used if f"{name}:" not in known] == []


def test_two_lines_of_one_chart_differ_in_more_than_colour() -> None:
    """A colour-blind reader tells them apart by mark or dash."""
    for name, figure in figures(nights(1)).items():
        looks = [
            (line.get("line", {}).get("dash"), line["marker"].get("symbol"), line["mode"]) for line in figure["data"]
        ]
        assert len(set(looks)) == len(looks), name


def test_a_treatment_stands_on_the_day_that_the_patient_s_wall_showed() -> None:
    """22:00 in Denver is the next day in the time in which moments are kept."""
    began = datetime(2026, 11, 28, 5, 0, tzinfo=UTC)
    with timezone.override("America/Denver"):
        weight = figures(nights(1, start=began))["weight"]
        assert {x for line in weight["data"] for x in line["x"]} == {"2026-11-27T22:00"}
        assert weight["layout"]["xaxis"]["range"] == ["2026-11-24T10:00", "2026-12-01T10:00"]


def test_where_nothing_happened_the_axis_is_the_time_that_was_asked_for() -> None:
    with timezone.override(UTC):
        assert days_axis([], within=WITHIN)["range"] == ["2026-08-04T20:00", "2026-11-02T20:00"]


def test_the_small_chart_marks_the_same_points_with_the_same_words() -> None:
    found = nights(2, pre_systolic=185)
    small = charts_of(list(charts(found).values()))
    pressure = next(chart for chart in small if chart.title == "Systolic pressure, mmHg")
    [before] = [line for line in pressure.lines if line.name == "before"]
    assert [dot.outside for dot in before.dots] == [True, True]
    assert before.dots[0].words == "2 Nov: before 185 mmHg, over the limit of 180 mmHg"
    assert before.dots[0].words + "." in pressure.words
    assert {line.name for line in pressure.lines if line.kind == "course-level"} == {"180", "170", "100"}


def test_in_the_units_that_are_spoken(settings: Any) -> None:
    with units.speaking(units.Spoken(weight="lb")):
        chart = charts(nights(1))["weight"]
        assert [point.words for point in chart.series[1].points] == ["157.0 lb"]
        assert outside(chart)["after"] == ["2.6 lb over target, limit 2.2 lb"]


def test_the_part_of_the_page_asks_the_database_as_often_for_many_nights(
    nurse_client: Client, nurse: User, ana: Patient, django_assert_max_num_queries: Any
) -> None:
    for days in range(6):
        record_night(ana, timezone.now() - timedelta(days=2 * days + 1))
    at = timezone.now() - timedelta(days=3)
    BloodResult.objects.create(patient=ana, analyte=POTASSIUM, value=5.9, drawn_at=at, entered_by=nurse, entered_at=at)
    with django_assert_max_num_queries(12):
        page = nurse_client.get(f"/patients/{ana.pk}/charts/?days=30").content.decode()
    assert re.findall(r'data-figure="(figure-[a-z-]+)"', page)[:2] == ["figure-weight", "figure-blood-pressure"]
    assert "1 point lies outside its limit and is marked; the pointer says by which." in " ".join(page.split())
    assert "Potassium before at most 5.5 mmol/L" in page


def test_a_new_patient_has_no_chart_and_no_axis(nurse_client: Client, ana: Patient) -> None:
    Patient.objects.filter(pk=ana.pk).update(joined_on=date(2026, 11, 1))
    assert "data-figure" not in nurse_client.get(f"/patients/{ana.pk}/charts/").content.decode()
    line = nurse_client.get(f"/patients/{ana.pk}/timeline/").content.decode()
    assert "data-figure" not in line
    assert "no treatment came in" in line
