"""What a server answered to a message: kept as a code with its parts, put into words when it is read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

WORDS: dict[str, StrOrPromise] = {
    "mail_taken": _("The mail server took it."),
    "mail_said": _("The mail server said %(code)s: %(words)s"),
    "mail_not_reached": _("The mail server was not reached: %(why)s"),
    "no_mail_server": _("No mail server is set up (EMAIL_HOST)."),
    "push_taken": _("The push service took it (%(code)s)."),
    "push_said": _("%(host)s says %(code)s."),
    "push_gone": _("%(host)s says %(code)s: this browser is gone, and was removed."),
    "push_inside": _("The push service's name leads to a machine inside: nothing was sent there."),
    "push_not_reached": _("The push service was not reached: %(why)s"),
    "push_not_made": _("The push message could not be made: %(why)s"),
    "no_push_key": _("No key for push messages is set up (make_push_keys)."),
    "no_browser": _("This browser is no longer signed up."),
    "broke": _("%(why)s while sending"),
    "not_wanted": _("Not sent: the alert was looked at, or a correction took it away."),
}


def answer_words(stored: Mapping[str, Any]) -> str:
    """A stored answer, {"code", "parts"}, in the language of the reader; "" while there is none."""
    return str(WORDS[stored["code"]]) % stored["parts"] if stored else ""
