"""Signed addresses that stand in messages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.urls import NoReverseMatch, reverse

from scheduler.messages.consent import leave_token
from scheduler.messages.opened import mark_for
from scheduler.owner_links import owner_url

if TYPE_CHECKING:
    from uuid import UUID

    from customers.models import Organisation, Person, Premises


def full_address(name: str, *arguments: str) -> str:
    """Address of a page as it stands in a message; empty where this site has no such page."""
    try:
        return f"{settings.SITE_ADDRESS}{reverse(name, args=arguments)}"
    except NoReverseMatch:
        return ""


def owner_address(person: Person, premises: Premises, message: UUID | None = None) -> str:
    """Address of the owner's page of one place, for one person, as it stands in one message."""
    try:
        path = owner_url(premises=premises, person=person)
        return f"{settings.SITE_ADDRESS}{path}{mark_for(message) if message else ''}"
    except NoReverseMatch:
        return ""


def leave_address(organisation: Organisation, address: str) -> str:
    """Address at which one click ends marketing to a mailbox."""
    token = leave_token(organisation=organisation, address=address)
    return full_address("scheduler:leave", token)
