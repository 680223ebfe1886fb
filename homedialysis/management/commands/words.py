"""Gather the words of pages and scripts for the translators, and compile what they wrote.

Needs GNU gettext (xgettext, msgmerge) on the machine, and Babel from the `test` extra: for whoever changes words.
"""

from __future__ import annotations

from typing import Any

from django.core.management.commands import makemessages

from homedialysis import words

NOT_OURS = [".venv/*", ".local/*", "tests/*", "homedialysis/demo/*", "*/migrations/*"]


class Command(makemessages.Command):
    help = "Bring the catalogues under homedialysis/locale up to date and compile them."
    xgettext_options = [  # type: ignore[misc]  # noqa: RUF012
        "--from-code=UTF-8",
        "--add-comments=Translators",
        "--keyword=t",
        "--keyword=tn:1,2",
        "--keyword=kept",
    ]
    # A likely translation of another text is worse than none: a new text comes without one.
    msgmerge_options = ["-q", "--backup=none", "--update", "--no-fuzzy-matching"]  # type: ignore[misc]  # noqa: RUF012
    msgattrib_options = ["--no-obsolete"]  # type: ignore[misc]  # noqa: RUF012

    def handle(self, *args: Any, **options: Any) -> None:
        for domain in words.DOMAINS:
            self.gather(domain, words.languages(), options)
        words.write_all()
        self.stdout.write("Catalogues are up to date.")

    def gather(self, domain: str, languages: list[str], options: dict[str, Any]) -> None:
        """Bring the translators' files of one domain up to date with what pages and scripts say."""
        given = options | {
            "locale": languages,
            "domain": domain,
            "ignore_patterns": [*NOT_OURS, *(options.get("ignore_patterns") or [])],
            "add_location": "file",
            "no_obsolete": True,
            "no_wrap": True,
        }
        super().handle(**given)
