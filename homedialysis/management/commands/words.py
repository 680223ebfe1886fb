"""Gather the words of pages and scripts for the translators, and compile what they wrote.

Needs GNU gettext (xgettext, msgmerge) on the machine, and Babel from the `test` extra: for whoever changes words.
"""

from __future__ import annotations

import re
import tempfile
from pathlib import Path
from typing import Any

from django.core.management.commands import makemessages

from homedialysis import words

NOT_OURS = [".venv/*", ".local/*", "tests/*", "homedialysis/demo/*", "*/migrations/*"]
PLACES = re.compile(r"^#: (.+)$", re.MULTILINE)
"""The files in which a text stands, in a list as gettext writes it."""


class Command(makemessages.Command):
    help = "Bring the catalogues under homedialysis/locale up to date and compile them."
    xgettext_options = [  # type: ignore[misc]  # noqa: RUF012
        "--from-code=UTF-8",
        "--add-comments=Translators",
        "--keyword=t",
        "--keyword=wording",
        "--keyword=tn:1,2",
    ]
    # A likely translation of another text is worse than none: a new text comes without one.
    msgmerge_options = ["-q", "--backup=none", "--update", "--no-fuzzy-matching"]  # type: ignore[misc]  # noqa: RUF012
    msgattrib_options = ["--no-obsolete"]  # type: ignore[misc]  # noqa: RUF012

    def handle(self, *args: Any, **options: Any) -> None:
        for domain in ("django", "djangojs"):
            self.gather(domain, words.languages(), options)
        words.write_all()
        self.stdout.write("Catalogues are up to date.")

    def gather(self, domain: str, languages: list[str], options: dict[str, Any]) -> None:
        """Bring the translators' files up to date with what pages ("django": two files) or scripts say."""
        given = options | {
            "locale": languages,
            "domain": domain,
            "ignore_patterns": [*NOT_OURS, *(options.get("ignore_patterns") or [])],
            "add_location": "file",
            "no_obsolete": True,
            "no_wrap": True,
        }
        with tempfile.TemporaryDirectory() as folder:
            self.before = Path(folder)
            super().handle(**given)

    def build_potfiles(self) -> list[str]:
        """The server's words in two lists, those of patients and those of staff alone."""
        found = [Path(each) for each in dict.fromkeys(super().build_potfiles())]
        if self.domain == "django":
            found = [part for each in found for part in _parted(each)]
        return [str(each) for each in found]

    def remove_potfiles(self) -> None:
        super().remove_potfiles()
        for folder in self.locale_paths:
            (Path(folder) / "staff.pot").unlink(missing_ok=True)

    def write_po_file(self, potfile: str, locale: str) -> None:
        """One file of one language. A text that moved from one list to the other keeps its translation."""
        self._begin(Path(potfile).parent / locale / "LC_MESSAGES")
        domain, options = self.domain, self.msgmerge_options
        self.domain = Path(potfile).stem
        self.msgmerge_options = [*options, *self._written_before(Path(potfile).parent / locale / "LC_MESSAGES")]
        try:
            super().write_po_file(potfile, locale)
        finally:
            self.domain, self.msgmerge_options = domain, options

    def _begin(self, folder: Path) -> None:
        """A first list of staff's words has the head of the patients'."""
        if (folder / "django.po").exists() and not (folder / "staff.po").exists():
            head = (folder / "django.po").read_text(encoding="utf-8").partition("\n\n")[0]
            (folder / "staff.po").write_text(head + "\n", encoding="utf-8")

    def _written_before(self, folder: Path) -> list[str]:
        """Options that name copies of both lists as they were."""
        kept = []
        for domain in ("django", "staff"):
            copy = self.before / f"{folder.parent.name}-{domain}.po"
            if not copy.exists() and (folder / f"{domain}.po").exists():
                copy.write_bytes((folder / f"{domain}.po").read_bytes())
            kept += [f"--compendium={copy}"] if copy.exists() else []
        return kept


def _parted(everything: Path) -> list[Path]:
    """The list of all words of the server in two files, of patients and of staff; the first takes its place."""
    head, *texts = everything.read_text(encoding="utf-8").strip().split("\n\n")
    lists: dict[str, list[str]] = {"django": [head], "staff": [head]}
    for text in texts:
        places = [place for line in PLACES.findall(text) for place in line.split()]
        lists["staff" if words.only_for_staff(places) else "django"].append(text)
    return [_written(everything.with_name(f"{name}.pot"), parts) for name, parts in lists.items()]


def _written(path: Path, parts: list[str]) -> Path:
    path.write_text("\n\n".join(parts) + "\n", encoding="utf-8")
    return path
