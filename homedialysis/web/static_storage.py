"""Names of static files carry a hash of their content, those that our scripts import from each other too."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from re import Match
from typing import Any

from rcssmin import cssmin
from rjsmin import jsmin
from whitenoise.storage import CompressedManifestStaticFilesStorage

from homedialysis.web.one_script import in_two

OURS = ("alerts/", "bedside/", "dosing/", "homedialysis/", "sessions/")


ENTRY, LATER = "bedside/js/main.js", "bedside/js/later.js"
FIRST_PIECE, SECOND_PIECE, ONE_SHEET = "bedside/js/all.js", "bedside/js/rest.js", "bedside/css/all.css"
CONSTANT = re.compile(r"(?<=[\n;{}])const(?=[ {\[])")
"""At the start of a statement. One word less to carry: that constants stay constant was seen to in the modules."""
AFTER_BLOCK = re.compile(r"(?<=})\n(?=[\w$])(?!(?:else|catch|finally|while|in|of|instanceof)\b)")
"""Between a block and a statement, where the end of a line and the sign for it say the same: one sign packs better."""
ONE_AFTER_ANOTHER = re.compile(r"^([ \t]*)((?:const|let) [^;\n]*);\n\1(?:const|let) (?=\S)", re.MULTILINE)
"""A declaration of one line, and the beginning of the next one in the same block."""
FOR_READERS = re.compile(r'" \+\n\s*"|[,;](?=\n\s*[)\]}])|\((\w+)\)(?= =>)')
"""A sentence broken over lines, the mark after the last of several, brackets around the one thing that an arrow takes:
the formatter sets them, and none needs to go to a phone."""
FIRST_SHEETS = ("bedside/css/tokens.css", "bedside/css/bedside.css")


def _text(storage: Any, path: str) -> str:
    with storage.open(path) as source:
        return str(source.read().decode())


def _texts(paths: dict[str, Any], folder: str, suffix: str) -> dict[str, str]:
    wanted = {name: found for name, found in paths.items() if name.startswith(folder) and name.endswith(suffix)}
    return {name: _text(storage, path) for name, (storage, path) in sorted(wanted.items())}


def without_layout(script: str) -> str:
    """A script laid out by our formatter, without what stands there for readers alone."""
    return FOR_READERS.sub(lambda found: found[1] or "", _declared_together(script))


def _declared_together(script: str) -> str:
    """Declarations that follow each other as one: that they were constants was seen to in the modules."""
    while (together := ONE_AFTER_ANOTHER.sub(r"\1\2, ", script)) != script:
        script = together
    return script


def in_pieces(paths: dict[str, Any], *, opened: bool = False) -> dict[str, str]:
    """The bedside's two scripts and its sheet of styles, each as one text, out of the files that were collected."""
    scripts, sheets = _texts(paths, "bedside/js/", ".js"), _texts(paths, "bedside/css/", ".css")
    if ENTRY not in scripts:
        return {}
    order = [*FIRST_SHEETS, *(name for name in sheets if name not in FIRST_SHEETS)]
    first, second = (_packed(script) for script in in_two(scripts, ENTRY, LATER, "./all.js", opened=opened))
    return {FIRST_PIECE: first, SECOND_PIECE: second, ONE_SHEET: cssmin("".join(sheets[name] for name in order))}


def _packed(script: str) -> str:
    return AFTER_BLOCK.sub(";", CONSTANT.sub("let", jsmin(without_layout(script))))


class HashedStatic(CompressedManifestStaticFilesStorage):
    """Without the imports rewritten, a phone could mix modules of two releases after an upgrade.

    Scripts out of installed packages stay as they are: some name modules that only a build step finds.
    """

    support_js_module_import_aggregation = True
    max_post_process_passes = 30  # one for each storey of modules that need modules
    joins_bedside = True

    def post_process(self, paths: dict[str, Any], dry_run: bool = False, **options: Any) -> Iterator[Any]:
        """Hash and compress what was collected, and the bedside's scripts and styles in one piece each beside it."""
        made = {} if dry_run else {name: self._written(name, text) for name, text in in_pieces(paths).items()}
        yield from super().post_process(paths | made, dry_run, **options)

    def _written(self, name: str, text: str) -> tuple[HashedStatic, str]:
        Path(self.path(name)).write_text(text, encoding="utf-8")
        return self, name

    def url_converter(
        self, name: str, hashed_files: dict[str, str], template: str | None = None
    ) -> Callable[[Match[str]], str]:
        """What puts hashed names in the place of plain ones in one file."""
        if name.endswith(".js") and not name.startswith(OURS):
            return lambda found: found[0]
        converter: Any = super().url_converter(name, hashed_files, template)
        return converter  # type: ignore[no-any-return]
