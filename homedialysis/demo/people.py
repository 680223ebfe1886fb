"""The demo's unit, staff and sign-ins. Everybody is made up; telephone numbers come from a range kept for fiction."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time
from typing import NamedTuple

from homedialysis.accounts.models import Role

PASSWORD = "grey-herons-wade-at-dusk"  # noqa: S105 - of made-up people on a machine of one's own
TIME_ZONE = "Europe/London"
UNIT_NAME = "Home dialysis unit, Oskerley"
EMERGENCY_NUMBER = "112"
ON_CALL_NUMBER = "+44 1632 960100"
OPENS, CLOSES = time(8, 0), time(17, 30)
"""Monday to Friday."""


class SignIn(NamedTuple):
    role: str
    email: str
    password: str


@dataclass(frozen=True, slots=True)
class Colleague:
    """Somebody of the unit."""

    name: str
    role: Role
    mailbox: str

    @property
    def email(self) -> str:
        return f"{self.mailbox}@example.org"


STAFF = (
    Colleague("Maren Tolliver", Role.NURSE, "maren.tolliver"),
    Colleague("Idris Cawleybon", Role.NURSE, "idris.cawleybon"),
    Colleague("Dr Sunniva Achterberg", Role.NEPHROLOGIST, "sunniva.achterberg"),
    Colleague("Piotr Wexcombe", Role.TECHNOLOGIST, "piotr.wexcombe"),
    Colleague("Noor Hallamreyes", Role.ADMINISTRATOR, "noor.hallamreyes"),
)
CARE_PARTNER = Colleague("Jonah Lindqvale", Role.CARE_PARTNER, "jonah.lindqvale")
PATIENT_EMAIL = "patient@example.org"
"""The sign-in of the first patient, whom the API's examples speak of."""


def email_of(name: str) -> str:
    """The address of a made-up patient other than the first.

    >>> email_of("Odalys Brennick")
    'odalys.brennick@example.org'
    """
    return f"{name.lower().replace(' ', '.')}@example.org"


SIGN_INS = (
    SignIn("patient", PATIENT_EMAIL, PASSWORD),
    SignIn("care partner", CARE_PARTNER.email, PASSWORD),
    *(SignIn(str(colleague.role.label), colleague.email, PASSWORD) for colleague in STAFF),
)
"""(role, e-mail, password) of each kind of person; the other patients have the same password."""
