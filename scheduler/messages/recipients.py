"""Who is told what about a place, and by which channel they can be reached."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Q

from customers.models import ContactPreference, Party
from scheduler.calendar_invites.entries import mailbox

if TYPE_CHECKING:
    from datetime import date

    from customers.models import Person, Premises

EMAIL = ContactPreference.Channel.EMAIL
POST = ContactPreference.Channel.POST

# Those who decide about work and pay attention to dates; and those who must open the gate.
DECIDES = (Party.Role.OWNER, Party.Role.OPERATOR)
IS_THERE = (Party.Role.OCCUPIER, Party.Role.SITE_CONTACT)


@dataclass(frozen=True, slots=True)
class Recipient:
    """One person and the way to reach them."""

    person: Person
    channel: str
    address: str


def who_decides(premises: Premises, today: date) -> list[Recipient]:
    """Owner and operator; where none of them can be reached, whoever is there."""
    return _reachable(premises, DECIDES, today) or _reachable(premises, IS_THERE, today)


def who_expects_us(premises: Premises, today: date) -> list[Recipient]:
    """Everybody who should know of a visit."""
    return _reachable(premises, (*DECIDES, *IS_THERE), today)


def _reachable(premises: Premises, roles: tuple[str, ...], today: date) -> list[Recipient]:
    """People with one of these parts today, each mailbox or letter box once, longest known first."""
    parties = (
        premises.parties.filter(
            Q(since__isnull=True) | Q(since__lte=today),
            Q(until__isnull=True) | Q(until__gte=today),
            role__in=roles,
        )
        .select_related("person")
        .order_by("pk")
    )
    found: dict[str, Recipient] = {}
    for party in parties:
        recipient = way_to(party.person, premises)
        if recipient is not None:
            found.setdefault(recipient.address.casefold(), recipient)
    return list(found.values())


def way_to(person: Person, premises: Premises | None = None) -> Recipient | None:
    """By e-mail where there is a usable address, else by letter, else not at all."""
    if person.email:
        try:
            return Recipient(person, EMAIL, mailbox(person.email))
        except ValueError:
            pass  # an address nobody can be written to: fall back to the letter box
    postal = person.postal_address.strip() or (premises.one_line_address if premises else "")
    if not postal:
        return None
    return Recipient(person, POST, f"{person.name}, {' '.join(postal.split())}"[:254])
