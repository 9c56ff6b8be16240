"""Who stands on a paper."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db.models import Q

from customers.models import Party
from servicing.documents import Issuer

if TYPE_CHECKING:
    from customers.models import Organisation, Person, Premises

# Whose waste it is: the duty-holder first.
HANDS_OVER = (Party.Role.OPERATOR, Party.Role.OWNER, Party.Role.OCCUPIER)


def issuer_of(organisation: Organisation) -> Issuer:
    """An organisation as its papers name it."""
    return Issuer(
        name=organisation.name,
        address=organisation.address.strip(),
        phone=organisation.phone,
        email=organisation.sender_email,
    )


def transferor_of(premises: Premises, on: dt.date) -> Person | None:
    """Who handed the waste over on a day: operator, else owner, else occupier."""
    parties = premises.parties.filter(
        Q(since__isnull=True) | Q(since__lte=on),
        Q(until__isnull=True) | Q(until__gte=on),
        role__in=HANDS_OVER,
    ).select_related("person")
    found = sorted(parties, key=lambda party: (HANDS_OVER.index(Party.Role(party.role)), party.pk))
    return found[0].person if found else None


def place_words(premises: Premises) -> str:
    """Name and address on one line, each part once."""
    address = premises.one_line_address
    if premises.name and premises.name not in address:
        return ", ".join(part for part in (premises.name, address) if part)
    return address


def address_of(person: Person, premises: Premises) -> str:
    """Where a person is written to; the place itself where nothing else is known."""
    return ", ".join(person.postal_address.split("\n")) or place_words(premises)
