"""An invitation's link as a QR code: drawn into the page, for this very link, with the white that a camera needs."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

from django.template import Context, Template

FINDER = ("1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111")
"""The square in three corners (ISO/IEC 18004, finder pattern)."""
QUIET, SCALE = 4, 4


def drawn(text: str) -> list[str]:
    """The modules that the picture paints dark, row by row, read back from its lines."""
    made = Template('{% load qr %}{% qr text "The link" %}').render(Context({"text": text}))
    assert made.startswith('<div class="qr" role="img" aria-label="The link">')
    svg = ET.fromstring(re.sub(r"^<div[^>]*>|</div>$", "", made))  # noqa: S314 -- our own
    size = int(svg.attrib["viewBox"].split()[2]) // SCALE
    dark = [["0"] * size for _ in range(size)]
    [path] = [each for each in svg.iter() if each.get("stroke")]
    column = row = 0.0
    for kind, numbers in re.findall(r"([Mmh])([-\d. ]+)", path.attrib["d"]):
        values = [float(each) for each in numbers.split()]
        if kind == "h":
            for at in range(int(column), int(column + values[0])):
                dark[int(row)][at] = "1"
            column += values[0]
        else:
            column, row = values if kind == "M" else (column + values[0], row + values[1])
    return ["".join(each) for each in dark]


def test_it_has_its_corners_and_the_white_around_it() -> None:
    rows = drawn("https://unit.example/join/a-secret")
    size = len(rows) - 2 * QUIET
    assert (size - 21) % 4 == 0, "a size that the standard knows"
    for top, left in ((0, 0), (0, size - 7), (size - 7, 0)):
        found = tuple(row[QUIET + left : QUIET + left + 7] for row in rows[QUIET + top : QUIET + top + 7])
        assert found == FINDER
    around = rows[:QUIET] + rows[-QUIET:] + [row[:QUIET] + row[-QUIET:] for row in rows]
    assert not any("1" in row for row in around)


def test_another_link_is_another_code() -> None:
    assert drawn("https://unit.example/join/one") != drawn("https://unit.example/join/two")
