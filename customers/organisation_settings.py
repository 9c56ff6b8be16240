"""Changing how an organisation works."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction

from customers import access

if TYPE_CHECKING:
    from collections.abc import Mapping

    from customers.models import Organisation, User


@transaction.atomic
def change_organisation(
    *, organisation: Organisation, by: User, facts: Mapping[str, Any]
) -> Organisation:
    """Write these settings and no other.

    Raises PermissionDenied for who may not manage the organisation.
    """
    access.require_change(by, organisation)
    for name, value in facts.items():
        setattr(organisation, name, value)
    if facts:
        organisation.save(update_fields=list(facts))
    return organisation
