"""A page as it is read: how its template is laid out over lines makes no difference."""

from __future__ import annotations

import re

from django.http import HttpResponse

CELLS = "td|th|li|p|dd|dt|h1|h2|h3|button|summary"


def laid_flat(page: HttpResponse | str) -> str:
    """The page's markup with single spaces, and none at the ends of a cell, an item or a paragraph."""
    text = re.sub(r"\s+", " ", page if isinstance(page, str) else page.content.decode())
    return re.sub(rf"(<(?:{CELLS})(?: [^>]*)?>) | (?=</(?:{CELLS})>)", r"\1", text)
