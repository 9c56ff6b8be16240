"""Telling customers about their agreement: offered, agreed, cancelled, about to renew itself."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from customers.agreement_terms import ONE_DAY
from customers.agreement_words import year_lines
from customers.agreements import term_end, todays_rules
from customers.local_days import at_local, zone_at
from customers.models import Agreement
from customers.renewing import first_notice_day, last_notice_day
from scheduler.messages.compose import Draft, write_down
from scheduler.messages.recipients import way_to, who_decides
from scheduler.messages.timing import leaving_moment
from scheduler.messages.words import day_in_words, local_day, organisation_facts
from scheduler.models import Message

if TYPE_CHECKING:
    from customers.models import Organisation
    from scheduler.messages.recipients import Recipient

NOTICE, REMINDER = "renewal_notice", "renewal_reminder"
NEWS_LASTS = dt.timedelta(days=30)
# Agreements whose end lies further away have no notice to write yet.
FURTHEST_DAYS = 130


def tell_offered(*, agreement: Agreement, now: dt.datetime) -> list[Message]:
    """Say that an agreement waits on the customer's page for a yes or a no."""
    until = agreement.offered_until or local_day(now, agreement.premises.zone_name)
    stamp = f"{agreement.offered_at or now:%Y%m%d%H%M%S}"
    facts = {"until": day_in_words(until), "words": agreement.offered_text}
    return _tell(agreement, "agreement_offered", f"offered:{stamp}", facts, now, until=until)


def tell_agreed(*, agreement: Agreement, now: dt.datetime) -> list[Message]:
    """Send the words that were agreed to, to keep, with the last day to cancel."""
    cancel_by = agreement.cancel_by
    facts = {
        "words": agreement.offered_text,
        "begins": day_in_words(agreement.starts_on),
        "cancel_by": day_in_words(cancel_by) if cancel_by else "",
        "early_start": agreement.early_start,
    }
    return _tell(agreement, "agreement_agreed", "agreed", facts, now)


def tell_cancelled(*, agreement: Agreement, now: dt.datetime) -> list[Message]:
    """Say that the cancelling has arrived and what it comes to."""
    return _tell(agreement, "agreement_cancelled", "cancelled", {}, now)


def write_renewal_notices(organisation: Organisation, *, now: dt.datetime) -> int:
    """Write each notice whose day has come, once for each price; give the number of new ones."""
    today = local_day(now, organisation.time_zone)
    rows = (
        Agreement.objects.filter(organisation=organisation)
        .renewing()
        .filter(ends_on__gte=today, ends_on__lte=today + dt.timedelta(days=FURTHEST_DAYS))
        .filter(held_at__isnull=True, starts_on__lte=today)
        .select_related("organisation__profile", "premises__organisation", "plan", "payer")
    )
    return sum(len(_notify(agreement, today, now)) for agreement in rows.order_by("ends_on", "pk"))


def _notify(agreement: Agreement, today: dt.date, now: dt.datetime) -> list[Message]:
    rules = todays_rules(agreement, now)
    if today < first_notice_day(agreement, rules):
        return []
    template = NOTICE if today < last_notice_day(agreement, rules) else REMINDER
    key = f"{template}:{agreement.ends_on.isoformat()}:{agreement.price_of_next_term}"
    facts = renewal_facts(agreement, today=today)
    return _tell(agreement, template, key, facts, now, until=agreement.ends_on)


def renewal_facts(agreement: Agreement, *, today: dt.date) -> dict[str, Any]:
    """What a notice says. Prices with their VAT, as they would be billed."""
    following = Agreement(
        organisation=agreement.organisation,
        premises=agreement.premises,
        plan=agreement.plan,
        price_pence=agreement.price_of_next_term,
    )
    now, then = year_lines(agreement, today=today), year_lines(following, today=today)
    return {
        "plan": agreement.plan.name,
        "ends": day_in_words(agreement.ends_on),
        "begins": day_in_words(agreement.ends_on + ONE_DAY),
        "new_ends": day_in_words(term_end(agreement.starts_on, agreement.ends_on)),
        "price_now": _in_pounds(sum(line.gross_pence for line in now)),
        "price_then": _in_pounds(sum(line.gross_pence for line in then)),
        "changes": agreement.next_price_pence is not None,
        "reason": agreement.next_price_reason,
    }


def _in_pounds(pence: int) -> str:
    return f"£{pence / 100:,.2f}"


def key_of(agreement: Agreement) -> str:
    """How the key of every message about an agreement begins."""
    return f"agreement:{agreement.public_id.hex}:{agreement.premises.public_id.hex}:"


def drop_notices(agreement: Agreement, why: str) -> None:
    """What waits to be sent about a renewal is not sent any more."""
    Message.objects.filter(
        key__startswith=key_of(agreement),
        template__in=[NOTICE, REMINDER, "agreement_offered"],
        state=Message.State.WAITING,
    ).update(state=Message.State.DROPPED, last_error=why)


def _to_whom(agreement: Agreement, today: dt.date) -> list[Recipient]:
    """Who pays; where nobody was named, who decides at the place."""
    if agreement.payer is None:
        return who_decides(agreement.premises, today)
    way = way_to(agreement.payer, agreement.premises)
    return [way] if way else []


def _tell(
    agreement: Agreement,
    template: str,
    key: str,
    facts: dict[str, Any],
    now: dt.datetime,
    *,
    until: dt.date | None = None,
) -> list[Message]:
    """One service message to each: all of them serve an agreement or an answer to an offer."""
    organisation, premises = agreement.organisation, agreement.premises
    today = local_day(now, premises.zone_name)
    expires = now + NEWS_LASTS
    if until is not None:
        expires = at_local(until + ONE_DAY, dt.time(0), zone_at(premises))
    told = [
        write_down(
            Draft(
                key=f"{key_of(agreement)}{key}:{one.person.public_id.hex}",
                template=template,
                organisation=organisation,
                name=one.person.name,
                address=one.address,
                channel=one.channel,
                facts={
                    **organisation_facts(organisation),
                    "place": str(premises),
                    "plan": agreement.plan.name,
                    **facts,
                },
                send_at=leaving_moment(now, organisation=organisation, zone=premises.zone_name),
                expires_at=expires,
                recipient=one,
                premises=premises,
            )
        )
        for one in _to_whom(agreement, today)
    ]
    return [message for message in told if message is not None]
