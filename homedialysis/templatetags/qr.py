"""A text as a QR code, drawn into the page: a phone's camera reads it, and nobody else is asked for a picture."""

from __future__ import annotations

import segno
from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

register = template.Library()
QUIET_ZONE = 4
"""Modules of white around it, as ISO/IEC 18004 wants; the code itself is dark on white in every theme."""


@register.simple_tag
def qr(text: str, name: str) -> SafeString:
    """The code as inline SVG with an accessible name. Level M: a crease or a stain does not spoil it."""
    code = segno.make(text, error="m", micro=False)
    drawn = code.svg_inline(scale=4, border=QUIET_ZONE, dark="#000", light="#fff", omitsize=True, svgclass=None)
    return format_html('<div class="qr" role="img" aria-label="{}">{}</div>', name, SafeString(drawn))
