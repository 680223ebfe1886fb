"""In which system of units bloods are spoken of: said once for a request or a job, asked wherever they are written.

What is kept, judged and exchanged has one canonical unit and never asks here.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from homedialysis.accounts.models import Unit, UnitSystem

_spoken: ContextVar[str] = ContextVar("unit_system", default=UnitSystem.SI)


def spoken() -> str:
    """The system of this request or job; SI, the canonical one, where nobody said."""
    return _spoken.get()


@contextmanager
def speaking(system: str) -> Iterator[None]:
    """Everything within is written in this system."""
    before = _spoken.set(system)
    try:
        yield
    finally:
        _spoken.reset(before)


def unit_system() -> str:
    """The system that the unit has chosen."""
    unit = Unit.objects.first()
    return unit.unit_system if unit else UnitSystem.SI
