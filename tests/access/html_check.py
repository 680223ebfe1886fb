"""A strict reader of our own pages: every element closed, nothing inline, nothing from another host."""

from __future__ import annotations

import re
from collections import Counter
from html.parser import HTMLParser

VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}
LOADING = {"src", "href", "action", "srcset", "poster", "formaction", "data", "hx-get", "hx-post"}
DATA_SCRIPTS = {"application/json"}
ELSEWHERE = re.compile(r"(?i)^\s*([a-z][a-z0-9+.-]*:)?//")
SCHEMES = re.compile(r"(?i)^\s*(javascript|vbscript|data):")


class Strict(HTMLParser):
    """faults: what is wrong, in words; empty for a good page."""

    def __init__(self, text: str, *, whole: bool = True) -> None:
        super().__init__(convert_charrefs=True)
        self.faults: list[str] = []
        self._open: list[tuple[str, int]] = []
        self._seen: Counter[str] = Counter()
        self._ids: Counter[str] = Counter()
        self._wanted: list[tuple[str, str]] = []
        self.feed(text)
        self.close()
        self._finish(whole)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._look_at(tag, attrs)
        if tag not in VOID:
            self._open.append((tag, self.getpos()[0]))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._look_at(tag, attrs)
        inside_svg = tag == "svg" or any(name == "svg" for name, _ in self._open)
        if tag not in VOID and not inside_svg:
            self._fault(f"<{tag}/> closes nothing")

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            self._fault(f"</{tag}> of an element that has no end")
        elif not self._open or self._open[-1][0] != tag:
            self._fault(f"</{tag}> where {self._open[-1:] or 'nothing'} is open")
        else:
            self._open.pop()

    def handle_data(self, data: str) -> None:
        if self._open and self._open[-1][0] == "style" and data.strip():
            self._fault("a style stands in the page")

    def _fault(self, words: str) -> None:
        self.faults.append(f"line {self.getpos()[0]}: {words}")

    def _look_at(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._seen[tag] += 1
        names = Counter(name for name, _ in attrs)
        self.faults += [f"<{tag}> has {name} twice" for name, times in names.items() if times > 1]
        given = {name: value or "" for name, value in attrs}
        if tag == "input" and given.get("type") == "number":
            self._fault("a browser's own field for numbers drops the comma that its language does not know")
        if "id" in given:
            self._ids[given["id"]] += 1
        for name in ("for", "aria-labelledby", "aria-describedby"):
            self._wanted += [(f"<{tag} {name}>", wanted) for wanted in given.get(name, "").split()]
        self._look_for_inline(tag, given)
        for name in LOADING & set(given):
            if ELSEWHERE.match(given[name]) or SCHEMES.match(given[name]):
                self._fault(f"<{tag} {name}={given[name]!r}> leaves this server")

    def _look_for_inline(self, tag: str, given: dict[str, str]) -> None:
        if tag == "script" and "src" not in given and given.get("type") not in DATA_SCRIPTS:
            self._fault("a script stands in the page")
        self.faults += [f"<{tag}> has {name}" for name in given if name == "style" or name.startswith(("on", "hx-on"))]
        if "[" in given.get("hx-trigger", ""):
            self._fault(f"<{tag} hx-trigger> has a filter, which needs eval")

    def _finish(self, whole: bool) -> None:
        self.faults += [f"<{tag}> of line {line} is never closed" for tag, line in self._open]
        self.faults += [f"id {name!r} stands {times} times" for name, times in self._ids.items() if times > 1]
        if whole:
            self.faults += [
                f"{where} names {name!r}, which is not there" for where, name in self._wanted if name not in self._ids
            ]
            needed = {"html": 1, "head": 1, "title": 1, "body": 1, "main": 1, "h1": 1}
            self.faults += [f"{self._seen[tag]} × <{tag}>" for tag, times in needed.items() if self._seen[tag] != times]


def faults_of(text: str) -> list[str]:
    """What is wrong with a page, or with a part of one that a page takes in."""
    whole = text.lstrip().lower().startswith("<!doctype html>")
    return Strict(text, whole=whole).faults
