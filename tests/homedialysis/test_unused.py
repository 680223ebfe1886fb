"""Styles that no page names and functions of scripts that nobody asks for are taken out."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings

FOLDERS = ("alerts", "dosing", "homedialysis", "sessions", "templates")
NAMED_BY_OTHERS = {"htmx-request", "errorlist", "nonfield"}
"""htmx's own class while it waits; two of Django's forms."""
STRING = re.compile(r'"((?:[^"\\\n]|\\.)*)"|`((?:[^`\\]|\\.)*)`|\'((?:[^\'\\\n]|\\.)*)\'')
OF_BODY = re.compile(r"{% block body_class %}(.*?){% endblock")
COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
CLASS = re.compile(r"\.([a-zA-Z][\w-]*)")
IMPORT = re.compile(r'^import\s+(?:(?:\{([^}]*)\}|\*\s+as\s+(\w+))\s+from\s+)?"(\.[^"]+)";', re.MULTILINE)
EXPORT = re.compile(r"^export\s+(?:(?:async\s+)?function\*?|const|class)\s+(\w+)", re.MULTILINE)
LISTED = re.compile(r"^export\s+\{([^}]*)\};", re.MULTILINE)


def _files(*kinds: str) -> Iterator[Path]:
    for folder in FOLDERS:
        for kind in kinds:
            yield from Path(settings.BASE_DIR, folder).rglob(f"*.{kind}")


def _said() -> set[str]:
    """Each word that stands in quotation marks, or as a class of the body, in a template, a script or our Python."""
    texts = [path.read_text(encoding="utf-8") for path in _files("html", "js", "py")]
    quoted = ["".join(found.groups("")) for text in texts for found in STRING.finditer(text)]
    of_body = [found for text in texts for found in OF_BODY.findall(text)]
    return {word for each in quoted + of_body for word in re.findall(r"[\w-]+", each)}


def test_every_class_of_a_style_is_named_somewhere() -> None:
    said = _said() | NAMED_BY_OTHERS
    unused = []
    for path in _files("css"):
        bare = STRING.sub("", COMMENT.sub("", path.read_text(encoding="utf-8")))
        unused += [f"{path.name} .{name}" for name in sorted(set(CLASS.findall(bare)) - said)]
    assert unused == []


def _exported(text: str) -> set[str]:
    listed = [name for found in LISTED.finditer(text) for name in found[1].split(",")]
    return set(EXPORT.findall(text)) | {name.split(" as ")[-1].strip() for name in listed if name.strip()}


def _asked(path: Path, text: str) -> Iterator[tuple[Path, str]]:
    """(module, name) of everything that one script takes from others."""
    for found in IMPORT.finditer(text):
        module = (path.parent / found[3]).resolve()
        names = [name.split(" as ")[0].strip() for name in (found[1] or "").split(",")]
        whole = re.findall(rf"\b{found[2]}\.(\w+)", text) if found[2] else []
        yield from ((module, name) for name in [*names, *whole])


def test_every_function_that_a_script_gives_is_asked_for() -> None:
    """By another script, or by a test that looks at this one alone."""
    texts = {path.resolve(): path.read_text(encoding="utf-8") for path in _files("js")}
    asked = {each for path, text in texts.items() for each in _asked(path, text)}
    kinds = ("py", "mjs")
    tests = "".join(
        p.read_text(encoding="utf-8") for kind in kinds for p in Path(settings.BASE_DIR, "tests").rglob(f"*.{kind}")
    )
    given = [(path, name) for path, text in texts.items() for name in sorted(_exported(text))]
    assert len(given) > 100
    unasked = [
        f"{path.name} {name}"
        for path, name in given
        if (path, name) not in asked and not re.search(rf"\b{name}\b", tests)
    ]
    assert unasked == []
