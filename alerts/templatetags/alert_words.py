"""The words of alerts for templates: made when a page is read, in the reader's language."""

from __future__ import annotations

from django import template

from alerts.showing import telling

register = template.Library()
register.filter("alert_title", telling.title_of)
register.filter("alert_sentence", telling.sentence_of)
register.filter("alert_limit", telling.limit_of)
register.filter("alert_source", telling.source_of)
register.filter("step_words", telling.step_words)
register.filter("found_in", telling.found_in)
register.filter("unjudged_in", telling.unjudged_in)
