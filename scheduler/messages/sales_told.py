"""What old and new owner are told when a place was sold."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.urls import reverse

from scheduler.messages.compose import Draft, write_down
from scheduler.messages.recipients import way_to
from scheduler.messages.timing import leaving_moment
from scheduler.messages.words import day_in_words, organisation_facts
from scheduler.owner_links import owner_url

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from customers.models import Person, Sale
    from scheduler.models import Message
    from servicing.models import Paper

LASTS = timedelta(days=60)


def tell_sale_completed(
    *, sale: Sale, sellers: Iterable[Person], pack: Paper | None, now: datetime
) -> list[Message]:
    """Send the new owner link and pack, and the old one word that theirs have ended.

    Both are service messages: they follow from the sale and offer nothing.
    """
    facts = {"completed": day_in_words(sale.completes_on)}
    told = []
    if sale.buyer is not None:
        more = {"pack_link": _pack_address(sale, pack), "pack_number": pack.number if pack else ""}
        told.append(_tell(sale, sale.buyer, "sale_welcome", {**facts, **more}, now, here=True))
    told += [_tell(sale, one, "sale_ended", facts, now, here=False) for one in sellers]
    return [message for message in told if message is not None]


def _tell(
    sale: Sale, person: Person, template: str, facts: dict[str, Any], now: datetime, *, here: bool
) -> Message | None:
    """One message; a letter goes to the place only to whoever is to live there."""
    recipient = way_to(person, sale.premises if here else None)
    if recipient is None:
        return None
    organisation, zone = sale.organisation, sale.premises.zone_name
    return write_down(
        Draft(
            key=f"{template}:{sale.public_id.hex}:{person.public_id.hex}",
            template=template,
            organisation=organisation,
            name=person.name,
            address=recipient.address,
            channel=recipient.channel,
            facts={**organisation_facts(organisation), "place": str(sale.premises), **facts},
            send_at=leaving_moment(now, organisation=organisation, zone=zone),
            expires_at=now + LASTS,
            recipient=recipient,
            premises=sale.premises if here else None,
        )
    )


def _pack_address(sale: Sale, pack: Paper | None) -> str:
    """Where the new owner finds the pack: behind their own link, not open to all."""
    if pack is None or sale.buyer is None:
        return ""
    page = owner_url(premises=sale.premises, person=sale.buyer)
    token = page.rstrip("/").rpartition("/")[2]
    return (
        f"{settings.SITE_ADDRESS}{reverse('scheduler:owner_paper', args=[token, pack.public_id])}"
    )
