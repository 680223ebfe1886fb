"""A sentence of optional parts, written over many lines and read as one."""

from __future__ import annotations

import re

from django import template
from django.template.base import NodeList, Parser, Token
from django.template.context import Context

register = template.Library()
BREAK = re.compile(r"\s*\n\s*(?P<mark>[,;:.)])?")
"""A line's end with the space around it, and a mark that belongs to the word before."""


class OneLine(template.Node):
    """What stands between the tags, with a space for each break between lines and none before , ; : . or )."""

    def __init__(self, nodelist: NodeList) -> None:
        self.nodelist = nodelist

    def render(self, context: Context) -> str:
        """Without a break: what the parts say, escaped as they escaped it."""
        return BREAK.sub(lambda found: found["mark"] or " ", self.nodelist.render(context).strip())


@register.tag
def one_line(parser: Parser, token: Token) -> OneLine:
    """{% one_line %}3 attempts{% if gauge %}, {{ gauge }} G{% endif %}{% endone_line %}, broken wherever one likes."""
    nodelist = parser.parse(("endone_line",))
    parser.delete_first_token()
    return OneLine(nodelist)
