"""A person at a browser without scripts: opens pages, follows links by their words, fills in forms as they stand there.

Nothing is known of an address beforehand but the first one: a page to which no link leads cannot be reached.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

from django.test import Client

Given = str | list[str]
WRONG = {"errorlist", "problem"}
"""Classes of what a page calls wrong."""


@dataclass
class Form:
    """action: "" for the page itself; fields: what is sent if nothing was touched; buttons: words, name, value."""

    action: str
    method: str
    fields: dict[str, list[str]] = field(default_factory=dict)
    names: set[str] = field(default_factory=set)
    buttons: list[list[str]] = field(default_factory=list)
    choices: dict[str, list[list[str]]] = field(default_factory=dict)


class _Reader(HTMLParser):
    """Links and forms of a page, and what it calls wrong."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.links: list[list[str]] = []
        self.forms: list[Form] = []
        self.wrong: list[str] = []
        self._collecting: list[tuple[str, list[str], int]] = []
        self._select: tuple[str, bool] | None = None
        self.feed(html)

    def _collect(self, tag: str, into: list[str], at: int) -> None:
        self._collecting.append((tag, into, at))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "a":
            self.links.append(["", given.get("href", "")])
            self._collect("a", self.links[-1], 0)
        elif tag == "form":
            self.forms.append(Form(given.get("action", ""), given.get("method", "get").lower()))
        elif WRONG & set(given.get("class", "").split()) and "hidden" not in given:
            self.wrong.append("")
            self._collect(tag, self.wrong, len(self.wrong) - 1)
        if self.forms and tag in ("input", "select", "option", "textarea", "button"):
            self._field(tag, given)

    def _field(self, tag: str, given: dict[str, str]) -> None:
        form, name, kind = self.forms[-1], given.get("name", ""), given.get("type", "")
        if tag == "button":
            form.buttons.append(["", name, given.get("value", ""), given.get("formaction", "")])
            self._collect("button", form.buttons[-1], 0)
        elif tag == "select":
            self._select = (name, "multiple" in given)
            form.names.add(name)
        elif tag == "option" and self._select:
            held = form.fields.setdefault(self._select[0], [])
            form.choices.setdefault(self._select[0], []).append(["", given.get("value", "")])
            self._collecting = [each for each in self._collecting if each[0] != "option"]
            self._collect("option", form.choices[self._select[0]][-1], 0)
            if "selected" in given or (not held and not self._select[1]):
                held[:] = [*(held if self._select[1] else []), given.get("value", "")]
        elif tag == "textarea":
            form.names.add(name)
            form.fields[name] = [""]
            self._collect("textarea", form.fields[name], 0)
        elif tag == "input" and name:
            form.names.add(name)
            if kind not in ("checkbox", "radio", "submit") or "checked" in given:
                usual = "on" if kind in ("checkbox", "radio") else ""
                form.fields.setdefault(name, []).append(given.get("value", usual))

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = None
        if self._collecting and self._collecting[-1][0] == tag:
            self._collecting.pop()

    def handle_data(self, data: str) -> None:
        for tag, into, at in self._collecting:
            into[at] += data.removeprefix("\n") if tag == "textarea" and not into[at] else data


class Hands:
    """One person at one browser."""

    def __init__(self) -> None:
        self.client = Client()
        self.address, self.html = "", ""
        self._found: dict[str, str] = {}

    def open(self, address: str) -> Hands:
        return self._arrived(self.client.get(address, follow=True), address)

    def follow(self, words: str) -> Hands:
        """The link on this page with these words."""
        found = [href for text, href in self._page.links if " ".join(text.split()).startswith(words)]
        assert found, f"no link “{words}” on {self.address}"
        return self.open(found[0])

    def reach(self, *links: str) -> Hands:
        """The page at the end of a way from the home page; whoever has been there once knows the address."""
        if links[-1] in self._found:
            return self.open(self._found[links[-1]])
        self.open("/")
        for words in links:
            self.follow(words)
        self._found[links[-1]] = self.address
        return self

    def send(self, button: str = "", **typed: Given) -> Hands:
        """The form with a button of these words and with these fields. Nothing of it may be refused."""
        form = self._form(button, set(typed))
        pressed = [each for each in form.buttons if button in each[0]]
        exactly = [each for each in pressed if " ".join(each[0].split()) == button]
        _words, name, value, action = (exactly or pressed)[0]
        body: dict[str, Any] = form.fields | typed | ({name: value} if name else {})
        target = action or form.action or self.address
        self._arrived(self.client.post(target, body, follow=True), target)
        assert not (wrong := self.wrong), f"{self.address}: {wrong}"
        return self

    @property
    def wrong(self) -> list[str]:
        return [words for each in self._page.wrong if (words := " ".join(each.split()))]

    def choice(self, name: str, words: str) -> str:
        """The value of a choice with these words, among those that a form of this page offers."""
        offered = [each for form in self._page.forms for each in form.choices.get(name, [])]
        found = [value for text, value in offered if " ".join(text.split()).startswith(words)]
        assert found, f"no “{words}” among {[text for text, _value in offered]} on {self.address}"
        return found[0]

    def _form(self, button: str, names: set[str]) -> Form:
        posted = [form for form in self._page.forms if form.method == "post" and names <= form.names]
        found = [form for form in posted if any(button in each[0] for each in form.buttons)]
        assert found, f"no form with “{button}” and {sorted(names)} on {self.address}"
        return found[0]

    def _arrived(self, answer: Any, address: str) -> Hands:
        last = answer.redirect_chain[-1][0] if answer.redirect_chain else address
        self.address, self.html = last, answer.content.decode()
        self._page = _Reader(self.html)
        assert answer.status_code < 400, f"{address} answers {answer.status_code}: {self.wrong}"
        return self
