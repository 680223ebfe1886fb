"""The words of alerts for templates: made when a page is read, in the reader's language."""

from __future__ import annotations

from django import template

from alerts.showing import alert_words

register = template.Library()
register.filter("alert_title", alert_words.title_of)
register.filter("alert_sentence", alert_words.sentence_of)
register.filter("alert_limit", alert_words.limit_of)
register.filter("alert_source", alert_words.source_of)
register.filter("step_words", alert_words.step_words)
register.filter("found_in", alert_words.found_in)
register.filter("unjudged_in", alert_words.unjudged_in)
