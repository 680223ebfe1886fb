"""Fields of a treatment document that hold no number, as people read them: in refusals and lists of changes."""

from __future__ import annotations

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

NAMES = (
    _("status"),
    _("source"),
    _("started at"),
    _("ended at"),
    _("plan choice"),
    _("dialyser look"),
    _("blood return"),
    _("early reason"),
    _("disinfected"),
    _("checklist version"),
    _("run sheet version"),
    _("prescription version"),
    _("notes"),
    _("confirmed"),
    _("at"),
    _("kind"),
    _("note"),
    _("name"),
    _("unit"),
    _("key"),
    _("part"),
    _("passed"),
    _("overruled"),
    _("reason"),
    _("site"),
    _("use"),
    _("needle"),
    _("flash"),
    _("flushed"),
    _("words"),
    _("item"),
    _("count"),
    _("reading"),
    _("event"),
    _("medicine"),
    _("check"),
    _("step"),
    _("used stock"),
)


def field_words(name: str) -> str:
    """ "started_at" is "started at", in the language of the reader; an unknown field keeps its English name."""
    words = name.replace("_", " ")
    return gettext(words) if words else ""
