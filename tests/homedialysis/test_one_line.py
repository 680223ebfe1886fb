"""A sentence of optional parts may be written over lines: it is read as one, with its marks at the word before."""

from __future__ import annotations

import pytest
from django.template import Context, Template

TEXT = """{% load one_line %}<li>{% one_line %}
  {{ name }}{% if gauge %}, {{ gauge }} G{% endif %}
  {% if pain is not None %}, pain {{ pain }}{% endif %}
  {% if note %}
    ({{ note }}){% endif %}{% endone_line %}
</li>"""


@pytest.mark.parametrize(
    ("given", "read"),
    [
        ({"name": "Left arm"}, "Left arm"),
        ({"name": "Left arm", "gauge": 15, "pain": 2}, "Left arm, 15 G, pain 2"),
        ({"name": "Left arm", "pain": 0, "note": "a <b>"}, "Left arm, pain 0 (a &lt;b&gt;)"),
        ({"name": "Left arm", "note": "slow , but good"}, "Left arm (slow , but good)"),
    ],
)
def test_breaks_between_lines_are_spaces_and_none_before_a_mark(given: dict[str, object], read: str) -> None:
    said = Template(TEXT).render(Context({"pain": None} | given))
    assert said == f"<li>{read}\n</li>"
