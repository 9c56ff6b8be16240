"""Whether somebody may be written to: the consent ledger and the list of refused addresses."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from django.core import signing
from django.db import transaction

from customers.models import ContactPreference, Organisation, Person, Suppression

if TYPE_CHECKING:
    from datetime import datetime

SERVICE = ContactPreference.MessageClass.SERVICE
MARKETING = ContactPreference.MessageClass.MARKETING
LEAVE_SALT = "scheduler.messages.leave"


def address_hash(address: str, organisation: Organisation) -> str:
    """What is kept of an address that must not be used: enough to know it again, no more."""
    known = f"{organisation.public_id}:{address.strip().casefold()}"
    return hashlib.sha256(known.encode()).hexdigest()


def why_not(
    *,
    organisation: Organisation,
    person: Person | None,
    address: str,
    channel: str,
    message_class: str,
) -> str:
    """Why this may not be sent, in words; empty when it may.

    A service message needs no consent but stops at a refusal. Marketing needs a recorded yes
    for its channel, and no later no.
    """
    if _is_suppressed(organisation, address, message_class):
        return "This address asked not to be written to."
    said = _last_said(person, channel, message_class)
    if said is not None and not said.allowed:
        return f"Refused: {said.how}."
    if message_class == MARKETING and said is None:
        return "No consent to offers is recorded."
    return ""


def _is_suppressed(organisation: Organisation, address: str, message_class: str) -> bool:
    """An address closed to service messages is closed to marketing too."""
    classes = [SERVICE] if message_class == SERVICE else [SERVICE, MARKETING]
    return Suppression.objects.filter(
        organisation=organisation,
        address_hash=address_hash(address, organisation),
        message_class__in=classes,
    ).exists()


def _last_said(person: Person | None, channel: str, message_class: str) -> ContactPreference | None:
    if person is None:
        return None
    return (
        ContactPreference.objects.filter(
            person=person, channel=channel, message_class=message_class
        )
        .order_by("-recorded_at", "-id")
        .first()
    )


def leave_token(*, organisation: Organisation, address: str) -> str:
    """What stands in the one-click link: whose list, which address, and our signature."""
    value = f"{organisation.public_id.hex}{address_hash(address, organisation)}"
    return signing.Signer(salt=LEAVE_SALT).sign(value)


def read_leave_token(token: str) -> tuple[Organisation, str] | None:
    """The organisation and the address hash a link stands for; None when it is not ours."""
    try:
        value = signing.Signer(salt=LEAVE_SALT).unsign(token)
    except signing.BadSignature:
        return None
    organisation = Organisation.objects.filter(public_id=value[:32]).first()
    return (organisation, value[32:]) if organisation else None


@transaction.atomic
def unsubscribe(
    *, organisation: Organisation, hashed: str, now: datetime, how: str = "one-click link"
) -> None:
    """Stop marketing to an address for good; doing it twice changes nothing."""
    _, is_new = Suppression.objects.get_or_create(
        organisation=organisation,
        address_hash=hashed,
        message_class=MARKETING,
        defaults={"reason": how, "since": now},
    )
    if not is_new:
        return
    for person in Person.objects.filter(organisation=organisation).exclude(email=""):
        if address_hash(person.email, organisation) == hashed:
            ContactPreference.objects.create(
                person=person,
                channel=ContactPreference.Channel.EMAIL,
                message_class=MARKETING,
                allowed=False,
                recorded_at=now,
                how=how,
            )
