"""Columns of models that are made from the declaration of their numbers."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

from django.db import models
from django.utils.functional import lazy

from sessions.facts.fields import Field

Kept = TypeVar("Kept", bound=type[models.Model])


class DeclaredNumbers(models.Model):
    """A model whose numbers are columns made by `with_columns`: a float, or None where nothing was noted."""

    class Meta:
        abstract = True

    if TYPE_CHECKING:

        def __getattr__(self, name: str) -> float | None: ...

        def __setattr__(self, name: str, value: Any) -> None: ...


class DeclaredOrders(models.Model):
    """The same for numbers of which some are always there: they are typed as whatever they hold."""

    class Meta:
        abstract = True

    if TYPE_CHECKING:

        def __getattr__(self, name: str) -> Any: ...

        def __setattr__(self, name: str, value: Any) -> None: ...


def with_columns(fields: Mapping[str, Field], *, needed: frozenset[str] = frozenset()) -> Callable[[Kept], Kept]:
    """Give a model one column for each declared number. needed: those that may not be null."""

    def add(model: Kept) -> Kept:
        for name, field in fields.items():
            model.add_to_class(name, column_of(field, needed=name in needed))
        return model

    return add


def column_of(field: Field, *, needed: bool) -> models.Field[float | None, float | None]:
    """The column of a declared number: small whole numbers where it is counted."""
    kind = models.PositiveSmallIntegerField if field.whole else models.FloatField
    return kind(lazy(lambda: field.heading, str)(), null=not needed, blank=not needed)
