"""Selling aftercare: drawn up, offered, agreed or not wanted, cancelled within the days for it."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from customers import access
from customers.agreement_record import AgreementRefused, Kind, locked, note, save
from customers.agreement_terms import ONE_DAY, right_to_cancel
from customers.agreement_words import agreement_text
from customers.agreements import check_term, same_length, todays_rules
from customers.local_days import local_today
from customers.models import Agreement

if TYPE_CHECKING:
    from customers.models import Person, Premises, User

State = Agreement.State
OFFER_STANDS = dt.timedelta(days=30)  # a setting of ours
CHANGED = "The offer was changed since you opened it. Read it again, then agree."


@transaction.atomic
def draw_up(
    *, premises: Premises, by: User, facts: Mapping[str, Any], now: dt.datetime | None = None
) -> Agreement:
    """Draw an agreement up, to be offered. Raises ValueError for a term that cannot be."""
    access.require_change(by, premises)
    check_term(premises, facts["starts_on"], facts["ends_on"])
    made = Agreement.objects.create(
        organisation=premises.organisation, premises=premises, state=State.DRAFT, **facts
    )
    note(made, Kind.DRAWN_UP, now=now or timezone.now(), by=by)
    return made


@transaction.atomic
def change_draft(
    *, agreement: Agreement, by: User, facts: Mapping[str, Any], now: dt.datetime | None = None
) -> Agreement:
    """Change what is not agreed yet; an offer that was out is taken back by it."""
    access.require_change(by, agreement)
    now = now or timezone.now()
    held = locked(agreement)
    if held.state not in {State.DRAFT, State.OFFERED}:
        message = "This agreement is settled: it can be renewed or ended, not changed."
        raise AgreementRefused(message)
    for name, value in facts.items():
        setattr(held, name, value)
    check_term(held.premises, held.starts_on, held.ends_on, but=held)
    if held.state == State.OFFERED:
        note(held, Kind.TAKEN_BACK, now=now, words="Changed after it was offered.", by=by)
    save(held, **facts, state=State.DRAFT, offered_text="", offered_at=None, offered_until=None)
    note(held, Kind.CHANGED, now=now, facts={name: str(one) for name, one in facts.items()}, by=by)
    return held


@transaction.atomic
def offer(*, agreement: Agreement, by: User, now: dt.datetime | None = None) -> Agreement:
    """Put the offer into words that stay as they are, for the customer to agree to or not.

    Offering what is offered already changes nothing. Raises AgreementRefused without a payer.
    """
    access.require_change(by, agreement)
    now = now or timezone.now()
    held = locked(agreement)
    if held.state == State.OFFERED:
        return held
    if held.state != State.DRAFT:
        message = f"This agreement is {held.get_state_display().lower()}: it cannot be offered."
        raise AgreementRefused(message)
    if held.payer is None:
        message = "Say who pays: the offer goes to them."
        raise AgreementRefused(message)
    today = local_today(held.organisation, now)
    if held.starts_on < today:
        message = "Its first day has passed. Change the first day, then offer it."
        raise AgreementRefused(message)
    until = today + OFFER_STANDS
    save(
        held,
        state=State.OFFERED,
        offered_at=now,
        offered_until=until,
        offered_text=agreement_text(held, today=today, until=until),
    )
    facts = {"sha256": fingerprint(held.offered_text), "until": until.isoformat()}
    note(held, Kind.OFFERED, now=now, words=held.offered_text, facts=facts, by=by)
    return held


def fingerprint(text: str) -> str:
    """By which the words that were agreed to are known again."""
    return hashlib.sha256(text.encode()).hexdigest()


@transaction.atomic
def agree(
    *,
    agreement: Agreement,
    name: str,
    seen: str,
    early_start: bool,
    person: Person | None,
    now: dt.datetime,
    by: User | None = None,
    informed: bool = True,
    how: str = "On the owner's page.",
    agreed_on: dt.date | None = None,
) -> Agreement:
    """Take the customer's yes to the words they saw (`seen`, their fingerprint).

    Who did not ask us to begin early is not begun with before the days to cancel are over: the
    term moves, as long as it was. Agreeing twice is agreeing once. The office passes `by` for a
    paper signed by hand, with the day on it. Raises AgreementRefused, or ValueError where
    another agreement covers part of the term by now.
    """
    if by is not None:
        access.require_change(by, agreement)
    held = locked(agreement)
    if held.state == State.AGREED:
        return held
    today = agreed_on or local_today(held.organisation, now)
    _require_offer(held, seen=seen, today=today)
    held.information_given_on = today if informed else None
    right = right_to_cancel(agreement=held, agreed_on=today, rules=todays_rules(held, now))
    waits = right is not None and informed and not early_start
    first, last = _term_agreed(held, right.last_day if right and waits else None)
    check_term(held.premises, first, last, but=held)
    save(
        held,
        state=State.AGREED,
        agreed_at=now,
        agreed_name=name.strip()[:160],
        early_start=early_start,
        information_given_on=held.information_given_on,
        starts_on=first,
        ends_on=last,
        cancel_by=right.last_day if right else None,
    )
    facts = _as_agreed(held, on=today, seen=seen, informed=informed)
    note(held, Kind.AGREED, now=now, words=how, facts=facts, by=by, person=person)
    return held


def _as_agreed(held: Agreement, *, on: dt.date, seen: str, informed: bool) -> dict[str, Any]:
    """What is kept as evidence of a yes."""
    return {
        "name": held.agreed_name,
        "on": on.isoformat(),
        "sha256": seen,
        "early_start": held.early_start,
        "informed": informed,
        "cancel_by": held.cancel_by.isoformat() if held.cancel_by else "",
        "starts_on": held.starts_on.isoformat(),
        "ends_on": held.ends_on.isoformat(),
    }


def _term_agreed(held: Agreement, waits_until: dt.date | None) -> tuple[dt.date, dt.date]:
    """First and last day: after the days to cancel where these are waited for."""
    first = held.starts_on if waits_until is None else max(held.starts_on, waits_until + ONE_DAY)
    if held.followed_how == Agreement.Followed.SALE:
        return first, held.ends_on  # the rest of a term ends when the term does
    return first, same_length(held.starts_on, held.ends_on, first)


def _require_offer(held: Agreement, *, seen: str, today: dt.date) -> None:
    if held.state != State.OFFERED:
        message = "This offer is no longer open. Please ring us."
        raise AgreementRefused(message)
    if held.offered_until is not None and today > held.offered_until:
        message = "The last day of this offer has passed. Please ring us."
        raise AgreementRefused(message)
    if seen != fingerprint(held.offered_text):
        raise AgreementRefused(CHANGED)


@transaction.atomic
def decline(
    *,
    agreement: Agreement,
    words: str,
    now: dt.datetime,
    person: Person | None = None,
    by: User | None = None,
) -> Agreement:
    """The offer is not wanted, or the office thinks better of it. Twice changes nothing."""
    if by is not None:
        access.require_change(by, agreement)
    held = locked(agreement)
    if held.state in {State.DRAFT, State.OFFERED}:
        save(held, state=State.DECLINED)
        note(held, Kind.DECLINED, now=now, words=words, by=by, person=person)
    return held


@transaction.atomic
def cancel(
    *,
    agreement: Agreement,
    now: dt.datetime,
    words: str = "",
    person: Person | None = None,
    by: User | None = None,
    said_on: dt.date | None = None,
) -> Agreement:
    """Cancel within the days for it, without a reason. Cancelling twice is cancelling once.

    What counts is the day on which the customer sent word (`said_on`, for a letter). Where we
    began early at the customer's wish they pay for what was done; else everything goes back.
    Raises AgreementRefused when the days are over: it can still be ended.
    """
    if by is not None:
        access.require_change(by, agreement)
    held = locked(agreement)
    if held.state == State.CANCELLED:
        return held
    day = said_on or local_today(held.organisation, now)
    if held.state != State.AGREED or held.cancel_by is None or day > held.cancel_by:
        message = "The days to cancel without a reason are over. Ring us to end the agreement."
        raise AgreementRefused(message)
    basis = Agreement.RefundBasis.DONE if held.early_start else Agreement.RefundBasis.ALL
    save(
        held,
        state=State.CANCELLED,
        cancelled_at=now,
        ended_on=max(day, held.starts_on),
        ended_reason="Cancelled within the days for it",
        refund_basis=basis,
        held_at=None,
        held_because="",
    )
    facts = {"said_on": day.isoformat(), "cancel_by": held.cancel_by.isoformat()}
    note(held, Kind.CANCELLED, now=now, words=words, facts=facts, by=by, person=person)
    return held
