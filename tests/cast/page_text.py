"""What stands on a page of ours, read as a person would: terms with what is said of them, and rows of tables."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"area", "base", "br", "col", "hr", "img", "input", "link", "meta", "source"}
UNSEEN = {"script", "style", "template"}
KEY = re.compile(r"/([a-z0-9_]+)/$")


@dataclass
class Cell:
    """text without what only readers aloud get; links: where it leads."""

    text: str = ""
    links: list[str] = field(default_factory=list)

    @property
    def key(self) -> str:
        """The last part of where it leads: the key of a number, or what a heading sorts by."""
        link = self.links[0] if self.links else ""
        sorts = re.search(r"[?&]sort=([^&]+)", link)
        found = sorts or KEY.search(link)
        return found[1] if found else ""


class PageText(HTMLParser):
    """terms: [(dt, dd)]; rows: the cells of each table row; text: all that is seen."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.terms: list[tuple[Cell, Cell]] = []
        self.rows: list[list[Cell]] = []
        self._all: list[str] = []
        self._cells: list[Cell] = []
        self._term = Cell()
        self._hidden: list[str] = []
        self.feed(html)
        self.close()

    @property
    def text(self) -> str:
        return " ".join("".join(self._all).split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if self._hidden or tag in UNSEEN or "visually-hidden" in (given.get("class") or "").split():
            if tag not in VOID:
                self._hidden.append(tag)
            return
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th", "dt", "dd"):
            self._cells.append(Cell())
        if tag == "a" and self._cells:
            self._cells[-1].links.append(given.get("href") or "")
        self._all.append(" ")

    def handle_endtag(self, tag: str) -> None:
        if self._hidden:
            if tag == self._hidden[-1]:
                self._hidden.pop()
            return
        if tag not in ("td", "th", "dt", "dd") or not self._cells:
            return
        cell = self._cells.pop()
        cell.text = " ".join(cell.text.split())
        if tag == "dt":
            self._term = cell
        elif tag == "dd":
            self.terms.append((self._term, cell))
        elif self.rows:
            self.rows[-1].append(cell)

    def handle_data(self, data: str) -> None:
        if self._hidden:
            return
        self._all.append(data)
        for cell in self._cells:
            cell.text += data

    def said_of(self, term: str) -> str:
        """What stands beside a term; AssertionError where it is not there."""
        found = [said.text for each, said in self.terms if each.text == term]
        assert found, f"“{term}” is not on the page, only {[each.text for each, _ in self.terms]}"
        return found[0]
