"""A sale is completed: the old owner's access ends, records stay, the new owner gets the pack."""

from __future__ import annotations

import datetime as dt
import logging
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Q

from customers import access, agreements
from customers.local_days import local_today, zone_at
from customers.models import Agreement, OwnerLink, Party, Person, Sale
from customers.sales import SaleRefused
from scheduler.aftercare import selling
from scheduler.messages.sales_told import tell_sale_completed
from scheduler.models import DayRequest, FeedToken, Message
from servicing.paper_drafts import PaperRefused, handover_pack_draft
from servicing.papers import issue

if TYPE_CHECKING:
    from customers.models import Premises, User
    from servicing.models import Paper

logger = logging.getLogger(__name__)

SOLD = "The premises were sold"


@dataclass(frozen=True)
class Leaving:
    """What ends with a sale, before or after it is completed."""

    parties: tuple[Party, ...]
    links: tuple[OwnerLink, ...]
    agreement: Agreement | None

    @property
    def people(self) -> list[Person]:
        """Who leaves, each once."""
        return list({party.person_id: party.person for party in self.parties}.values())


def leaving_at(sale: Sale, today: dt.date) -> Leaving:
    """Who leaves by this sale and what of theirs ends: all but tenants who stay."""
    parties = list(
        sale.premises.parties.filter(Q(until=None) | Q(until__gte=today)).select_related("person")
    )
    if sale.occupiers_stay:
        stay = {one.person_id for one in parties if one.role == Party.Role.OCCUPIER} - {
            one.person_id for one in parties if one.role == Party.Role.OWNER
        }
        parties = [one for one in parties if one.person_id not in stay]
    people = {one.person_id for one in parties}
    links = sale.premises.links.filter(revoked_at=None, person__in=people)
    running = Agreement.objects.filter(premises=sale.premises).current(today)
    return Leaving(
        tuple(parties),
        tuple(links.select_related("person")),
        running.select_related("plan", "organisation", "premises").first(),
    )


@transaction.atomic
def complete_sale(*, sale: Sale, by: User, now: dt.datetime) -> Sale:
    """Hand the place over. Completing twice changes nothing.

    Raises SaleRefused for a sale that was called off or that the office has not confirmed.
    """
    access.require_change(by, sale)
    sale = Sale.objects.select_for_update().select_related("premises__organisation").get(pk=sale.pk)
    if sale.completed_at is not None:
        return sale
    if sale.called_off_at is not None:
        raise SaleRefused("The sale was called off. Write it down anew if it goes on.")
    if sale.confirmed_at is None:
        raise SaleRefused("Ask the seller or their solicitor first, then confirm the sale.")
    today = now.astimezone(zone_at(sale.premises)).date()
    sale.completes_on = min(sale.completes_on, today)
    leaving = leaving_at(sale, today)
    sale.buyer = sale.buyer or _person_of(sale)
    _end_access(sale, leaving, now)
    _begin(sale)
    _settle_agreement(sale, leaving.agreement, by=by, now=now)
    sale.completed_at = now
    sale.save(update_fields=["completes_on", "buyer", "completed_at", "changed_at"])
    pack = issue_pack(sale.premises, by=by, today=today)
    tell_sale_completed(sale=sale, sellers=leaving.people, pack=pack, now=now)
    return sale


def issue_pack(premises: Premises, *, by: User, today: dt.date) -> Paper | None:
    """The handover pack as things stand; None where nothing in use is buried there."""
    try:
        draft = handover_pack_draft(premises=premises, today=today)
    except PaperRefused:
        return None
    return issue(draft=draft, organisation=premises.organisation, by=by, today=today)


def complete_due_sales(*, now: dt.datetime) -> int:
    """Complete the confirmed sales whose day has come, in the name of who confirmed them."""
    done = 0
    waiting = Sale.objects.confirmed().select_related(
        "organisation", "premises__organisation", "confirmed_by"
    )
    for sale in waiting.order_by("pk"):
        if sale.completes_on > local_today(sale.organisation, now) or sale.confirmed_by is None:
            continue
        if not access.may_change(sale.confirmed_by, sale):
            continue  # shown as overdue at the office: somebody else presses the button
        try:
            complete_sale(sale=sale, by=sale.confirmed_by, now=now)
        except (SaleRefused, ValueError):
            logger.exception("A sale could not be completed: %s", sale.pk)
        else:
            done += 1
    return done


def _person_of(sale: Sale) -> Person:
    """The new owner in the register: somebody of this name and address, or somebody new."""
    known = Person.objects.filter(organisation=sale.organisation, name__iexact=sale.buyer_name)
    if sale.buyer_email:
        found = known.filter(email__iexact=sale.buyer_email).first()
        if found is not None:
            return found
    return Person.objects.create(
        organisation=sale.organisation,
        name=sale.buyer_name,
        email=sale.buyer_email,
        phone=sale.buyer_phone,
        postal_address=sale.buyer_address,
    )


def _end_access(sale: Sale, leaving: Leaving, now: dt.datetime) -> None:
    """Links, feeds, wishes and messages end first: what tells calendars comes after."""
    for link in leaving.links:
        link.revoked_at = now
        link.save(update_fields=["revoked_at", "changed_at"])
    people = [one.pk for one in leaving.people]
    elsewhere = Party.objects.filter(person__in=people, until=None).exclude(premises=sale.premises)
    feeds = FeedToken.objects.filter(
        Q(premises=sale.premises)
        | (Q(person__in=people) & ~Q(person__in=elsewhere.values("person")))
    )
    feeds.filter(revoked_at=None).update(revoked_at=now)
    DayRequest.objects.filter(
        person__in=people, job__system__premises=sale.premises, settled_at=None
    ).update(settled_at=now)
    Message.objects.filter(
        Q(job__system__premises=sale.premises) | Q(key__contains=sale.premises.public_id.hex),
        person__in=people,
        state=Message.State.WAITING,
    ).exclude(calendar_method="CANCEL").update(
        state=Message.State.DROPPED, last_error=f"{SOLD} since."
    )
    last_day = sale.completes_on - dt.timedelta(days=1)
    for party in leaving.parties:
        party.until = max(last_day, party.since) if party.since else last_day
        party.save(update_fields=["until"])


def _begin(sale: Sale) -> None:
    for role in (Party.Role.OWNER, Party.Role.OPERATOR):
        Party.objects.get_or_create(
            premises=sale.premises,
            person=sale.buyer,
            role=role,
            until=None,
            defaults={"since": sale.completes_on},
        )


def _settle_agreement(sale: Sale, running: Agreement | None, *, by: User, now: dt.datetime) -> None:
    """End the agreement at the sale; where it goes with the house, offer the rest to the buyer.

    The seller's word, or ours, binds nobody: the new owner reads the offer and says yes or no.
    """
    if running is None:
        return
    begins = max(sale.completes_on, running.starts_on)
    buyer = sale.buyer if sale.keeps_agreement else None
    rest = agreements.hand_on(
        agreement=running, sold_on=begins, buyer=buyer, by=by, reason=f"{SOLD}.", now=now
    )
    if rest is not None:
        selling.offer(agreement=rest, by=by, now=now)
