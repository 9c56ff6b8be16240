"""Who is told what about a place, and by which channel they can be reached."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.conf import settings
from django.db.models import Q

from customers.models import ContactPreference, Party
from scheduler.calendar_invites.entries import mailbox
from scheduler.messages.texts import mobile_number
from scheduler.messages.timing import letter_first, rules_of
from scheduler.models import TellingRules

if TYPE_CHECKING:
    from datetime import date

    from customers.models import Person, Premises

EMAIL = ContactPreference.Channel.EMAIL
POST = ContactPreference.Channel.POST
SMS = ContactPreference.Channel.SMS

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


def who_expects_us(premises: Premises, today: date, *, short: bool = False) -> list[Recipient]:
    """Everybody who should know of a visit; what is `short` may go as a text message."""
    return _reachable(premises, (*DECIDES, *IS_THERE), today, short=short)


def _reachable(
    premises: Premises, roles: tuple[str, ...], today: date, *, short: bool = False
) -> list[Recipient]:
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
        recipient = (text_way(party.person, premises) if short else None) or way_to(
            party.person, premises
        )
        if recipient is not None:
            found.setdefault(recipient.address.casefold(), recipient)
    return list(found.values())


def text_way(person: Person, premises: Premises) -> Recipient | None:
    """By text message, where the office prefers it or there is no e-mail, and the person agreed.

    A number was given for talking: only who said yes to text messages gets one.
    """
    rules = rules_of(premises.organisation)
    text_first = rules is not None and rules.order == TellingRules.Order.TEXT_FIRST
    if not settings.SMS_GATEWAY_URL or (person.email and not text_first):
        return None
    lines = person.preferences.filter(channel=SMS, message_class="service")
    last = lines.order_by("-recorded_at", "-pk").first()
    number = mobile_number(person.phone, premises.organisation.profile.holidays_country)
    return Recipient(person, SMS, number) if number and last and last.allowed else None


def way_to(person: Person, premises: Premises | None = None) -> Recipient | None:
    """By e-mail where there is a usable address, else by letter, else not at all.

    Where the office prefers letters it is the other way round.
    """
    if letter_first((premises or person).organisation):
        return _by_letter(person, premises) or by_mail(person)
    return by_mail(person) or _by_letter(person, premises)


def by_mail(person: Person) -> Recipient | None:
    """By e-mail; None without an address that can be written to."""
    if not person.email:
        return None
    try:
        return Recipient(person, EMAIL, mailbox(person.email))
    except ValueError:
        return None  # an address nobody can be written to


def _by_letter(person: Person, premises: Premises | None) -> Recipient | None:
    postal = person.postal_address.strip() or (premises.one_line_address if premises else "")
    if not postal:
        return None
    return Recipient(person, POST, f"{person.name}, {' '.join(postal.split())}"[:254])
