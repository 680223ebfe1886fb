"""A language that nobody speaks, made of the English words: it shows what was left untranslated and what does not fit.

Every text is accented, a third longer and stands between brackets; the language is written from right to left.
"""

from __future__ import annotations

import io
import json
import re
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo

from homedialysis import words

CODE = "qps-mirror"
LOCALE_FOLDER = "qps_Mirror"
"""What Django makes of the code."""
OPEN, CLOSE = "⟦", "⟧"
KEPT = re.compile(r"%\(\w+\)[sdr]|\{\w*(?::[^}]*)?\}|<[^>]+>|%%")
"""Placeholders and tags."""
ACCENTED = str.maketrans(
    "aceinosuyzACEINOSUYZ",
    "åçéîñöšûýžÅÇÉÎÑÖŠÛÝŽ",
)
FILLER = "õ"


def mirrored(english: str, *, parts_outside: bool = False) -> str:
    """One text of the made-up language; placeholders and tags stay as they are.

    parts_outside: what takes the place of a placeholder stands outside the brackets, to be judged by itself.
    """
    parts = KEPT.split(english)
    kept = [f"{CLOSE}{each}{OPEN}" if parts_outside and each[0] in "%{" else each for each in KEPT.findall(english)]
    told = "".join(part.translate(ACCENTED) + mark for part, mark in zip(parts, [*kept, ""], strict=True))
    longer = max(1, sum(map(len, parts)) // 3)
    tail = "".join(f" {FILLER * min(8, longer - done)}" for done in range(0, longer, 8))
    return f"{OPEN}{told}{tail}{CLOSE}"


def catalogue(domain: str, *, parts_outside: bool = False) -> Catalog:
    """Every message of a domain in the made-up language."""
    made = Catalog(locale="en", domain=domain, charset="utf-8")
    for message in words.catalogue("es", domain):
        if not message.id:
            continue
        if message.pluralizable:
            forms = tuple(mirrored(form, parts_outside=parts_outside) for form in message.id)
            made.add(message.id, forms, context=message.context)
        else:
            said = mirrored(str(message.id), parts_outside=parts_outside)
            made.add(message.id, said, context=message.context)
    return made


def write_server(folder: Path, *domains: str, parts_outside: bool = False) -> Path:
    """The server's catalogue of these domains below a folder that LOCALE_PATHS may name -> that folder."""
    target = folder / LOCALE_FOLDER / "LC_MESSAGES" / "django.mo"
    target.parent.mkdir(parents=True)
    compiled = io.BytesIO()
    whole = catalogue(domains[0], parts_outside=parts_outside)
    for message in (
        each for domain in domains[1:] for each in catalogue(domain, parts_outside=parts_outside) if each.id
    ):
        whole[message.id] = message
    write_mo(compiled, whole)
    target.write_bytes(compiled.getvalue())
    return folder


def for_scripts() -> str:
    """The scripts' catalogue as JSON."""
    said = {
        (message.id[0] if message.pluralizable else message.id): (
            list(message.string) if message.pluralizable else message.string
        )
        for message in catalogue("djangojs")
        if message.id
    }
    return json.dumps(said, ensure_ascii=False)


def unmarked(text: str) -> str:
    """What of a text stands outside the brackets, which may lie within one another."""
    while (shorter := re.sub(rf"{OPEN}[^{OPEN}{CLOSE}]*{CLOSE}", " ", text)) != text:
        text = shorter
    return " ".join(text.split())
