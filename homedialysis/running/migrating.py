"""What the first migrations are made of: many operations of one app, whose models are rendered once.

Django renders every related model anew after each operation; with a hundred models that all lead to the patient this
takes minutes where the database needs a second.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState


class Together(Operation):
    """Operations that make new models whole: each with all its fields, indexes and constraints.

    Every one of them sees the state after all, so none may change what another makes.
    """

    serialization_expand_args = ["operations"]  # noqa: RUF012 - as Django declares it

    def __init__(self, operations: Sequence[Operation]) -> None:
        self.operations = list(operations)

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        return type(self).__name__, [], {"operations": self.operations}

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        state.__dict__.pop("apps", None)  # a state without rendered models renders none until it is asked
        for operation in self.operations:
            operation.state_forwards(app_label, state)

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        for operation in self.operations:
            operation.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        """Nothing goes back beyond the first migrations: an empty database is made instead."""
        raise NotImplementedError("The first migrations cannot be taken back")

    def describe(self) -> str:
        return f"{len(self.operations)} operations together"
