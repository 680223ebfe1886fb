"""How far the source of a number was seen, in words: the same wherever a number has a source."""

from __future__ import annotations

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from dosing.science.sources import Status

STATUS_WORDS: dict[Status, StrOrPromise] = {
    Status.SEEN: _("source read"),
    Status.ABSTRACT: _("summary of the source read"),
    Status.SECOND_HAND: _("as others quote it, source not read"),
    Status.MEMORY: _("as commonly quoted, not looked up: check it before you rely on it"),
    Status.PRACTICE: _("common practice, no source"),
    Status.COMPUTED: _("computed"),
    Status.UNIT: _("entered by the unit"),
}


def with_status(source: StrOrPromise, status: Status) -> str:
    """A source and how far it was seen, in the language of the reader; the status alone where there is no source."""
    words = str(STATUS_WORDS[status])
    return gettext("%(source)s [%(status)s]") % {"source": source, "status": words} if source else words
