"""The charts of a patient's page are figures that Plotly accepts, key by key."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import plotly.graph_objects as go
import pytest
from django.contrib.staticfiles import finders
from django.utils import timezone

from dosing.services.night import charts
from dosing.services.night.computing import numbers_of
from dosing.services.night.treatments import ComputedNight
from sessions.models import Prescription
from tests.dosing.made_up import facts, night

COLOUR = re.compile(r'"(--[a-z0-9-]+)"')


def nights(count: int, **changes: Any) -> list[ComputedNight]:
    found = []
    for _ in range(count):
        record = night(**changes)
        record.prescription = Prescription(target_weight_kg=70, uf_rate_limit_ml_kg_h=10, minutes=240)
        found.append(ComputedNight(record, numbers_of(facts(record)), stale=False))
    return found


def coloured(figure: charts.Figure) -> dict[str, Any]:
    """As the page's script does: names of the page's properties become colours."""
    found: dict[str, Any] = json.loads(COLOUR.sub('"#123456"', json.dumps(figure)))
    return found


@pytest.mark.parametrize("count", [0, 1, 3])
def test_plotly_accepts_every_chart(count: int) -> None:
    for _, _, figure in charts.all_of(nights(count)):
        assert len(go.Figure(coloured(figure)).data) == len(figure["data"])


def test_plotly_would_refuse_a_key_that_is_none() -> None:
    figure = coloured(charts.weight(nights(1)))
    figure["data"][0]["colour"] = "red"
    with pytest.raises(ValueError, match="colour"):
        go.Figure(figure)


def test_each_line_has_a_point_for_each_night() -> None:
    for name, caption, figure in charts.all_of(nights(3)):
        assert name.startswith("figure-")
        assert caption
        assert [(len(line["x"]), len(line["y"])) for line in figure["data"]] == [(3, 3)] * len(figure["data"])


def test_the_points_are_what_was_noted_computed_and_prescribed() -> None:
    shown = {name: {line["name"]: line["y"] for line in figure["data"]} for name, _, figure in charts.all_of(nights(1))}
    assert shown["figure-weight"] == {"before": [72.6], "after": [71.2], "target": [70]}
    assert shown["figure-blood-pressure"] == {
        "systolic before": [140],
        "diastolic before": [80],
        "systolic after": [120],
        "Lowest systolic": [96],
    }
    assert shown["figure-line-pressures"] == {
        "Venous, median": [135],
        "Arterial, median": [-145],
        "Blood flow, median": [300],
    }
    assert shown["figure-uf-rate"]["limit of the prescription"] == [10]
    assert shown["figure-length"] == {"done": [4], "prescribed": [4]}
    by_weight = shown["figure-uf-rate"]["UF rate line by weight"]
    assert by_weight == [pytest.approx(3 + 500 / 71.2)]
    assert shown["figure-uf-rate"]["UF rate"] == [pytest.approx(2900 / 4 / 71.2)]


def test_what_is_not_known_is_a_gap_and_not_a_zero() -> None:
    (_, _, figure), *_ = charts.all_of(nights(1, post_weight_kg=None))
    lines = {line["name"]: line for line in figure["data"]}
    assert lines["after"]["y"] == [None]
    assert all(line["connectgaps"] is False for line in figure["data"])


def test_every_colour_is_a_property_of_the_page() -> None:
    styles = [
        finders.find(name)
        for name in ("bedside/css/tokens.css", "homedialysis/css/unit_tokens.css", "dosing/css/charts.css")
    ]
    known = "".join(Path(str(path)).read_text(encoding="utf-8") for path in styles)
    used = {name for _, _, figure in charts.all_of(nights(1)) for name in COLOUR.findall(json.dumps(figure))}
    assert used
    assert [name for name in used if f"{name}:" not in known] == []


def test_two_lines_of_one_chart_differ_in_more_than_colour() -> None:
    """A colour-blind reader tells them apart by mark or dash."""
    for name, _, figure in charts.all_of(nights(1)):
        looks = [(line["line"].get("dash"), line["marker"].get("symbol"), line["mode"]) for line in figure["data"]]
        assert len(set(looks)) == len(looks), name


def test_a_treatment_stands_on_the_day_that_the_patient_s_wall_showed() -> None:
    """22:00 in Denver is the next day in the time in which moments are kept."""
    began = datetime(2026, 11, 28, 5, 0, tzinfo=UTC)
    with timezone.override("America/Denver"):
        for _, _, figure in charts.all_of(nights(1, start=began)):
            assert {x for line in figure["data"] for x in line["x"]} == {"2026-11-27T22:00"}
            assert figure["layout"]["xaxis"]["range"] == ["2026-11-24T10:00", "2026-12-01T10:00"]
