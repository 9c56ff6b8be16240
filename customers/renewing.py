"""Renewal: a new price with its reason, notices given, and no renewal without a notice."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from customers import access
from customers.agreement_record import AgreementRefused, Kind, locked, note, save
from customers.agreement_terms import days_before_new_price, days_of_last_notice, days_of_notice
from customers.agreements import ALREADY, follow_on, overlapping, term_end, todays_rules
from customers.local_days import local_today, zone_of
from customers.models import Agreement
from customers.models.agreements import AgreementEvent

if TYPE_CHECKING:
    from customers.country_rules import RuleBook
    from customers.models import User

ONE_DAY = dt.timedelta(days=1)
# So long after its end a term is still renewed without anybody looking; a setting of ours.
LATE_BY_DAYS = 14


@transaction.atomic
def set_next_price(
    *,
    agreement: Agreement,
    price_pence: int,
    reason: str,
    by: User,
    now: dt.datetime | None = None,
) -> Agreement:
    """Say what the next term costs and why; as now needs no reason.

    Raises AgreementRefused without a reason, or when the days in which a new price must be told
    have passed.
    """
    access.require_change(by, agreement)
    now = now or timezone.now()
    held = locked(agreement)
    if price_pence == held.price_pence:
        save(held, next_price_pence=None, next_price_reason="")
        return held
    if not reason.strip():
        message = "Say why the price changes: it is told to the customer."
        raise AgreementRefused(message)
    last = last_day_to_tell_price(held, todays_rules(held, now))
    if local_today(held.organisation, now) > last:
        message = (
            f"A new price from {held.ends_on + ONE_DAY:%-d %B %Y} had to be told by "
            f"{last:%-d %B %Y}. It can hold from the term after."
        )
        raise AgreementRefused(message)
    save(held, next_price_pence=price_pence, next_price_reason=reason.strip()[:200])
    facts = {"price_pence": price_pence, "from": (held.ends_on + ONE_DAY).isoformat()}
    note(held, Kind.PRICE, now=now, words=held.next_price_reason, facts=facts, by=by)
    return held


def last_day_to_tell_price(agreement: Agreement, rules: RuleBook) -> dt.date:
    """Last day on which the customer can be told of a new price for the next term."""
    days = max(days_before_new_price(rules), days_of_last_notice(rules))
    return agreement.ends_on - dt.timedelta(days=days)


def first_notice_day(agreement: Agreement, rules: RuleBook) -> dt.date:
    """Day on which the first notice is written: earlier where a new price must be told."""
    days = days_of_notice(agreement, rules)
    if agreement.next_price_pence is not None:
        days = max(days, days_before_new_price(rules) + 7)  # time for a letter to arrive
    return agreement.ends_on - dt.timedelta(days=days)


def last_notice_day(agreement: Agreement, rules: RuleBook) -> dt.date:
    """Day on which the reminder is written, and the last on which a notice lets it renew."""
    return agreement.ends_on - dt.timedelta(days=days_of_last_notice(rules))


@transaction.atomic
def note_notice(
    *,
    agreement: Agreement,
    given_at: dt.datetime,
    price_pence: int,
    how: str,
    key: str | None = None,
    by: User | None = None,
) -> None:
    """Keep that the customer was told of the renewal, and at what price; once for each key.

    A hold for want of a notice is lifted: whether this one was in time is asked at the end.
    """
    facts = {"price_pence": price_pence, "ends_on": agreement.ends_on.isoformat()}
    note(agreement, Kind.NOTICE, now=given_at, words=how, facts=facts, by=by, key=key)


@transaction.atomic
def give_notice_by_hand(
    *,
    agreement: Agreement,
    given_on: dt.date,
    how: str,
    by: User,
    now: dt.datetime | None = None,
) -> Agreement:
    """The office told the customer itself, by telephone or letter; a hold is lifted."""
    access.require_change(by, agreement)
    now = now or timezone.now()
    held = locked(agreement)
    if given_on > local_today(held.organisation, now):
        message = "This day is still to come. Give the day on which the customer was told."
        raise AgreementRefused(message)
    noon = dt.datetime.combine(given_on, dt.time(12), tzinfo=zone_of(held.organisation))
    note_notice(agreement=held, given_at=noon, price_pence=held.price_of_next_term, how=how, by=by)
    if held.held_at is not None:
        save(held, held_at=None, held_because="")
        note(held, Kind.RELEASED, now=now, words="The customer was told by the office.", by=by)
    return held


@transaction.atomic
def hold(*, agreement: Agreement, because: str, now: dt.datetime, by: User | None = None) -> None:
    """Stop the renewal until the office has looked at it. Held already: nothing changes."""
    if by is not None:
        access.require_change(by, agreement)
    held = locked(agreement)
    if held.held_at is None and held.ended_on is None:
        save(held, held_at=now, held_because=because[:300])
        note(held, Kind.HELD, now=now, words=because, by=by)


@transaction.atomic
def stop_renewing(*, agreement: Agreement, words: str, now: dt.datetime, by: User | None) -> None:
    """It ends with its term. By the customer on their page (`by` is None), or by the office."""
    if by is not None:
        access.require_change(by, agreement)
    held = locked(agreement)
    if held.renews_itself:
        save(held, renews_itself=False, held_at=None, held_because="")
        note(held, Kind.CHANGED, now=now, words=f"Does not renew itself. {words}".strip(), by=by)


def why_not_renew(agreement: Agreement, *, today: dt.date, rules: RuleBook) -> str:
    """What speaks against renewing an agreement by itself, in words; empty where nothing does."""
    given = notices_of(agreement)
    price = agreement.price_of_next_term
    latest = last_notice_day(agreement, rules)
    if agreement.next_price_pence is not None:
        latest = last_day_to_tell_price(agreement, rules)
    zone = zone_of(agreement.organisation)
    days = [
        one.happened_at.astimezone(zone).date()
        for one in given
        if one.facts.get("price_pence") == price
    ]
    if not given:
        return "No renewal notice got out. Tell the customer, or let it end."
    if not days:
        return "The notice that got out names another price. Tell the customer the right one."
    if min(days) > latest:
        return (
            f"The renewal notice got out on {min(days):%-d %B %Y}, too late: "
            f"{latest:%-d %B %Y} was the last day."
        )
    if today > agreement.ends_on + dt.timedelta(days=LATE_BY_DAYS):
        return "Its term ran out a while ago. Ask the customer whether it should go on."
    ends = term_end(agreement.starts_on, agreement.ends_on)
    if overlapping(agreement.premises, agreement.ends_on + ONE_DAY, ends):
        return ALREADY
    return ""


def notices_of(agreement: Agreement) -> list[AgreementEvent]:
    """Notices of this renewal that got out."""
    rows = agreement.events.filter(kind=Kind.NOTICE).order_by("happened_at")
    return [one for one in rows if one.facts.get("ends_on") == agreement.ends_on.isoformat()]


@transaction.atomic
def renew_itself(*, agreement: Agreement, now: dt.datetime) -> Agreement | None:
    """Renew an agreement whose last day has come, at the price the notice named; else hold it.

    Gives the next term, or None where it is not due or was held. Twice changes nothing.
    """
    held = locked(agreement)
    today = local_today(held.organisation, now)
    waits = held.held_at is not None or held.ended_on is not None
    if not held.renews_itself or held.state != Agreement.State.AGREED or waits:
        return None
    if today < held.ends_on or hasattr(held, "followed_by"):
        return None
    why_not = why_not_renew(held, today=today, rules=todays_rules(held, now))
    if why_not:
        hold(agreement=held, because=why_not, now=now)
        return None
    return follow_on(held, price_pence=held.price_of_next_term, now=now, by=None)
