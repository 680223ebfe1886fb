"""The rows of a text of the unit while somebody works on them: plain forms, one after another, without a script.

Moving, adding and removing answer the page anew with nothing saved, so every such step can be taken back by not
saving, or by the opposite button.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from sessions.facts.choices import TextKind
from sessions.pages.forms_texts import CardForm, FirstAidForm, FlowForm, ItemForm, RowForm, StepForm, with_keys
from sessions.services.text_rows import CARD_WORDS, LISTED

ListRow = dict[str, Any]
MOST_ROWS = 80


@dataclass(frozen=True, slots=True)
class Spec:
    """How one kind of text is laid out in rows.

    listed: its key in the content; free: rows may come, go and move; add, added, needed: what the page then says of it.
    """

    form: type[RowForm]
    listed: str
    to_rows: Callable[[Any], list[ListRow]] = list
    to_content: Callable[[list[ListRow]], Any] = list
    free: bool = False
    add: StrOrPromise = ""
    added: StrOrPromise = ""
    needed: StrOrPromise = ""


LINES = ("now", "never", "call", "helper")
CARD_FIELDS = (*CARD_WORDS, "first")


def _card_row(card: ListRow) -> ListRow:
    """As a form has it. An early version has its lines under another name, and no more."""
    row = {"now": card.get("lines", [])} | card
    told = {name: row.get(name, "") for name in CARD_FIELDS}
    return told | {"key": card["kind"]} | {name: "\n".join(row.get(name, [])) for name in LINES}


def _card(row: ListRow) -> ListRow:
    return {"kind": row["key"]} | {name: row[name] for name in CARD_FIELDS}


SPECS: dict[str, Spec] = {
    TextKind.CHECKLIST: Spec(
        form=ItemForm,
        listed=LISTED[TextKind.CHECKLIST],
        add=_("Add a check"),
        added=_("A check was added at the end."),
        needed=_("At least one check is needed."),
        free=True,
        to_content=lambda rows: with_keys(rows, "name"),
    ),
    TextKind.RUN_SHEET: Spec(
        form=StepForm,
        listed=LISTED[TextKind.RUN_SHEET],
        add=_("Add a step"),
        added=_("A step was added at the end."),
        needed=_("At least one step is needed."),
        free=True,
        to_content=lambda rows: with_keys(rows, "words"),
    ),
    TextKind.CARDS: Spec(
        form=CardForm,
        listed=LISTED[TextKind.CARDS],
        to_rows=lambda cards: [*map(_card_row, cards)],
        to_content=lambda rows: [*map(_card, rows)],
    ),
    TextKind.FIRST_AID: Spec(
        form=FirstAidForm,
        listed=LISTED[TextKind.FIRST_AID],
        to_rows=lambda texts: [{"key": key, "words": words} for key, words in texts.items()],
        to_content=lambda rows: {row["key"]: row["words"] for row in rows},
    ),
    TextKind.FLOWS: Spec(form=FlowForm, listed=LISTED[TextKind.FLOWS]),
}


class ListRows:
    """The forms of one page. `told` says what was just done; `at` is the row to look at."""

    def __init__(self, spec: Spec, rows: list[ListRow], sent: Mapping[str, Any] | None = None) -> None:
        self.spec, self.told, self.at = spec, "", -1
        self.forms = [
            spec.form(sent, prefix=f"row-{index}", initial=row, use_required_attribute=False)
            for index, row in enumerate(rows)
        ]

    @classmethod
    def of_content(cls, spec: Spec, content: ListRow) -> ListRows:
        return cls(spec, spec.to_rows(content[spec.listed]))

    @classmethod
    def sent(cls, spec: Spec, data: Mapping[str, Any], content: ListRow) -> ListRows:
        """What was sent; where rows are fixed, as many and under the same keys as in `content`."""
        known = spec.to_rows(content[spec.listed])
        given = str(data.get("rows", ""))
        count = min(int(given), MOST_ROWS) if given.isdecimal() and len(given) < 6 else 0
        return cls(spec, [{}] * count if spec.free else known, data)

    @staticmethod
    def alike(spec: Spec, one: ListRow, other: ListRow) -> bool:
        """Whether two contents say the same, whoever's words they are."""
        rows = [spec.to_rows(content[spec.listed]) for content in (one, other)]
        first, second = ([{key: row[key] for key in row if key != "own"} for row in each] for each in rows)
        return first == second

    @property
    def raw(self) -> list[ListRow]:
        """What stands in the fields, valid or not; fixed rows keep their keys."""
        return [{name: form[name].value() for name in form.fields} | self._fixed_key(form) for form in self.forms]

    def _fixed_key(self, form: RowForm) -> ListRow:
        return {} if self.spec.free else {"key": form.initial["key"]}

    def is_valid(self) -> bool:
        judged = [form.is_valid() for form in self.forms]  # each of them, so that every fault is shown at once
        return bool(judged) and all(judged)

    def content(self, fixed: ListRow) -> ListRow:
        """The valid rows as the text keeps them; fixed keys come from `fixed`, not from what was sent."""
        rows = [form.as_row() for form in self.forms]
        if not self.spec.free:
            keys = [row["key"] for row in self.spec.to_rows(fixed[self.spec.listed])]
            rows = [row | {"key": key} for row, key in zip(rows, keys, strict=True)]
        return {self.spec.listed: self.spec.to_content(rows)}

    def after(self, do: str) -> ListRows:
        """The rows after one of the buttons "up-3", "down-3", "remove-3", "add"; others change nothing."""
        rows, name = self.raw, do.partition("-")[0]
        index = int(do.partition("-")[2]) if do.partition("-")[2].isdecimal() else -1
        told, at = "", -1
        if self.spec.free and name == "add" and len(rows) < MOST_ROWS:
            rows, told, at = [*rows, {}], str(self.spec.added), len(rows)
        elif self.spec.free and 0 <= index < len(rows):
            rows, told, at = _changed(rows, name, index, self.forms[index].called)
        changed = ListRows(self.spec, rows)
        changed.told, changed.at = told, at
        return changed


def _changed(rows: list[ListRow], name: str, index: int, called: str) -> tuple[list[ListRow], str, int]:
    """Rows with one moved or removed, what was done, and where to look."""
    other = index + {"up": -1, "down": 1}.get(name, 0)
    if name == "remove":
        return (
            rows[:index] + rows[index + 1 :],
            gettext("“%(called)s” was taken out.") % {"called": called},
            min(index, len(rows) - 2),
        )
    if other == index or not 0 <= other < len(rows):
        return rows, "", index
    moved = list(rows)
    moved[index], moved[other] = moved[other], moved[index]
    return moved, gettext("“%(called)s” is now number %(number)s.") % {"called": called, "number": other + 1}, other
