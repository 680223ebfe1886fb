"""How far an axis of values reaches at the least, worked out by hand."""

from __future__ import annotations

import pytest

from dosing.services.numbers.axes import far_enough


@pytest.mark.parametrize(
    ("values", "axis"),
    [
        ([2.96, None, 2.98], [2.821, 3.119]),
        ([-150.0, -148.0], [-156.5, -141.5]),
        ([2.0, 2.4], None),
        ([0.0, 0.0], None),
        ([None], None),
    ],
)
def test_what_is_no_more_than_rounded_is_drawn_as_no_mountain(
    values: list[float | None], axis: list[float] | None
) -> None:
    """Ten per cent of the greatest value: 0.298 around 2.97, 15 around -149."""
    lines = [{"y": values}, {"y": [1000.0], "yaxis": "y2"}]
    found = far_enough({"data": lines, "layout": {"yaxis": {"zeroline": False}}})["layout"]["yaxis"]
    assert found["zeroline"] is False
    assert found.get("range") == (axis and pytest.approx(axis))
