"""Signed addresses that stand in messages."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.conf import settings
from django.core import signing
from django.urls import NoReverseMatch, reverse

from customers.models import OwnerLink
from scheduler.messages.consent import leave_token

if TYPE_CHECKING:
    from customers.models import Organisation, Person, Premises

OWNER_SALT = "scheduler.messages.owner"


def full_address(name: str, *arguments: str) -> str:
    """Address of a page as it stands in a message; empty where this site has no such page."""
    try:
        return f"{settings.SITE_ADDRESS}{reverse(name, args=arguments)}"
    except NoReverseMatch:
        return ""


def owner_address(person: Person, premises: Premises) -> str:
    """Address of the owner's page of one place, for one person."""
    link, _ = OwnerLink.objects.get_or_create(
        person=person,
        premises=premises,
        revoked_at=None,
        defaults={"organisation": premises.organisation},
    )
    token = signing.Signer(salt=OWNER_SALT).sign(link.public_id.hex)
    return full_address("scheduler:owner", token)


def read_owner_token(token: str) -> OwnerLink | None:
    """The link a token stands for; None when it was tampered with or taken back."""
    try:
        public_id = uuid.UUID(signing.Signer(salt=OWNER_SALT).unsign(token))
    except (signing.BadSignature, ValueError):
        return None
    return (
        OwnerLink.objects.filter(public_id=public_id, revoked_at=None)
        .select_related("person", "premises", "organisation")
        .first()
    )


def leave_address(organisation: Organisation, address: str) -> str:
    """Address at which one click ends marketing to a mailbox."""
    token = leave_token(organisation=organisation, address=address)
    return full_address("scheduler:leave", token)
