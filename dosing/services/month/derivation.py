"""How a stored number of a month came about, in symbols and words."""

from __future__ import annotations

from dosing.models import PatientMonth
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.working import QUANTITIES
from dosing.services.numbers.kept import kept_number
from dosing.services.numbers.origin import Origin, OriginKind
from dosing.services.numbers.working import Worked, worked


def worked_of_month(row: PatientMonth, key: str) -> Worked:
    """One number of a month, laid out. What is said to come from nowhere else comes from its treatments."""
    figure = kept_number(MONTH_NUMBERS[key], row.numbers)
    return worked(figure, QUANTITIES, otherwise=Origin(OriginKind.TREATMENTS))
