"""What is known of a person is corrected, and an invitation that went to the wrong place is withdrawn."""

from __future__ import annotations

from typing import Any

from allauth.account.models import EmailAddress
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from homedialysis.accounts.models import BEDSIDE_ROLES, User


@transaction.atomic
def correct_person(user: User, *, name: str, email: str, role: str | None = None) -> bool:
    """Correct name, address and, for staff, role; the database's triggers keep what stood. False: nothing changed.

    Whoever signs in does so by the new address from then on. Raises ValidationError naming the field.
    """
    email = email.strip().lower()
    if User.objects.exclude(pk=user.pk).filter(email__iexact=email).exists():
        raise ValidationError({"email": _("%(email)s is the address of somebody else.") % {"email": email}})
    if role and (user.role in BEDSIDE_ROLES) != (role in BEDSIDE_ROLES):
        raise ValidationError({"role": _("A patient's account stays one: invite the person anew.")})
    before = (user.name, user.email, user.role)
    user.name, user.email, user.role = name.strip(), email, role or user.role
    if (user.name, user.email, user.role) == before:
        return False
    user.full_clean(exclude=["password"])
    user.save(update_fields=["name", "email", "role"])
    EmailAddress.objects.filter(user=user).exclude(email=email).delete()
    return True


def has_come(user: User) -> bool:
    """Whether an invited person has set a password."""
    return user.has_usable_password()


@transaction.atomic
def withdraw(user: User) -> bool:
    """Make every link that was not used yet useless. False where none was open."""
    gone, _by_model = user.invitations.filter(used_at=None).delete()
    return bool(gone)


def story_of(user: User) -> list[Any]:
    """Every state of the account that the triggers kept, newest first."""
    return list(user.events.order_by("-pgh_id"))  # type: ignore[attr-defined]


def own_address_counts(user: User) -> None:
    """The address by which somebody signs in is the one that the unit invited: it needs no confirmation, and stands
    until another one is confirmed."""
    EmailAddress.objects.update_or_create(user=user, email=user.email, defaults={"verified": True, "primary": True})
