"""Who may sign in for an organisation, and as what."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

from django.db import transaction

from customers import access
from customers.models import Membership, User

if TYPE_CHECKING:
    from customers.models import Organisation

Role = Membership.Role


class NotAllowed(ValueError):
    """The change would leave the organisation without anybody to run it; says so."""


@transaction.atomic
def add_member(
    *, organisation: Organisation, email: str, name: str, role: str, by: User
) -> tuple[Membership, bool]:
    """Let somebody sign in here; gives the membership and whether the user is new.

    A user of another organisation keeps name and password. A new one gets a password nobody
    knows, to be set by the link that is mailed. Raises NotAllowed when already a member.
    """
    access.require(by, "manage", organisation)
    user = User.objects.filter(email__iexact=email).first()
    new = user is None
    if user is None:
        user = User.objects.create_user(email, secrets.token_urlsafe(32), name=name)
    if Membership.objects.filter(user=user, organisation=organisation).exists():
        message = f"{user.email} is a member already."
        raise NotAllowed(message)
    return Membership.objects.create(user=user, organisation=organisation, role=role), new


@transaction.atomic
def change_role(*, membership: Membership, role: str, by: User) -> None:
    """Give a member another part. Somebody must stay who may run the organisation."""
    access.require(by, "manage", membership.organisation)
    if role != Role.OFFICE:
        _keep_an_office(membership)
    membership.role = role
    membership.save(update_fields=["role"])


@transaction.atomic
def remove_member(*, membership: Membership, by: User) -> None:
    """End a membership; what the person recorded stays. Somebody must stay in the office."""
    access.require(by, "manage", membership.organisation)
    _keep_an_office(membership)
    membership.delete()


def _keep_an_office(membership: Membership) -> None:
    others = Membership.objects.select_for_update().filter(
        organisation=membership.organisation, role=Role.OFFICE
    )
    if not others.exclude(pk=membership.pk).exists():
        message = "Somebody must stay in the office to run the organisation."
        raise NotAllowed(message)
