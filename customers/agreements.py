"""Plans, and agreements from their first day to their last."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from customers import access
from customers.agreement_record import Kind, locked, note, save
from customers.agreement_terms import ONE_DAY
from customers.country_rules import RuleBook
from customers.local_days import local_today
from customers.models import AftercarePlan, Agreement
from customers.money import months_after

if TYPE_CHECKING:
    from collections.abc import Mapping

    from customers.models import Organisation, Person, Premises, User

State = Agreement.State
ALREADY = "There is an agreement for part of this time already. End it first, or renew it."


@transaction.atomic
def add_plan(*, organisation: Organisation, by: User, facts: Mapping[str, Any]) -> AftercarePlan:
    """Offer a new plan."""
    access.require(by, "register", organisation)
    return AftercarePlan.objects.create(organisation=organisation, **facts)


@transaction.atomic
def change_plan(*, plan: AftercarePlan, by: User, facts: Mapping[str, Any]) -> AftercarePlan:
    """Change what is offered from now on; agreements keep the price they were made at."""
    access.require_change(by, plan)
    for name, value in facts.items():
        setattr(plan, name, value)
    if facts:
        plan.save(update_fields=[*facts, "changed_at"])
    return plan


@transaction.atomic
def start_agreement(
    *,
    premises: Premises,
    plan: AftercarePlan,
    starts_on: dt.date,
    ends_on: dt.date,
    by: User,
    price_pence: int | None = None,
    payer: Person | None = None,
    renews_itself: bool = False,
    now: dt.datetime | None = None,
    **more: Any,
) -> Agreement:
    """Write down an agreement that both sides have made already; without a price, at the plan's.

    Raises ValueError when the term overlaps an agreement that stands, or runs backwards.
    """
    access.require_change(by, premises)
    check_term(premises, starts_on, ends_on)
    made = Agreement.objects.create(
        organisation=premises.organisation,
        premises=premises,
        plan=plan,
        payer=payer,
        starts_on=starts_on,
        ends_on=ends_on,
        price_pence=plan.price_on(starts_on) if price_pence is None else price_pence,
        renews_itself=renews_itself,
        **{"charged_every_months": plan.charged_every_months, **more},
    )
    words = "Written down as agreed already."
    note(made, Kind.AGREED, now=now or timezone.now(), words=words, by=by)
    return made


@transaction.atomic
def renew_agreement(*, agreement: Agreement, price_pence: int, by: User) -> Agreement:
    """Follow an agreement by another of the same length, as the customer wished.

    Renewing twice gives the same one.
    """
    access.require_change(by, agreement)
    return follow_on(agreement, price_pence=price_pence, now=timezone.now(), by=by)


def follow_on(
    agreement: Agreement, *, price_pence: int, now: dt.datetime, by: User | None
) -> Agreement:
    """The next term, as long as the one before; `by` is None when it renews itself."""
    agreement = locked(agreement)
    starts_on = agreement.ends_on + ONE_DAY
    there = agreement.premises.agreements.filter(state=State.AGREED, ended_on=None)
    following = there.filter(starts_on=starts_on).first()
    if following is not None:
        return following
    ends_on = term_end(agreement.starts_on, agreement.ends_on)
    check_term(agreement.premises, starts_on, ends_on)
    following = Agreement.objects.create(
        organisation=agreement.organisation,
        premises=agreement.premises,
        plan=agreement.plan,
        payer=agreement.payer,
        customer_is=agreement.customer_is,
        sold_how=agreement.sold_how,
        starts_on=starts_on,
        ends_on=ends_on,
        price_pence=price_pence,
        charged_every_months=agreement.charged_every_months,
        renews_itself=agreement.renews_itself,
        agreed_at=now,
        cancel_by=cooling_off_ends(agreement, starts_on),
        early_start=True,  # it goes on without a gap: what is done in these days is paid for
        follows=None if hasattr(agreement, "followed_by") else agreement,
        followed_how=Agreement.Followed.RENEWAL,
    )
    facts = {"price_pence": price_pence, "from": starts_on.isoformat()}
    how = "Renewed by the office." if by else "Renewed itself."
    note(agreement, Kind.RENEWED, now=now, words=how, facts=facts, by=by)
    note(following, Kind.AGREED, now=now, words=f"{how} It follows the term before.", by=by)
    if agreement.held_at is not None:
        save(agreement, held_at=None, held_because="")
    return following


def cooling_off_ends(agreement: Agreement, starts_on: dt.date) -> dt.date | None:
    """Last day on which a consumer may leave a renewed term; None where there is no such rule."""
    rule = RuleBook(agreement.organisation.profile, starts_on).rule("renewal_cooling_off_days")
    if rule is None or not rule.value or not agreement.is_consumers:
        return None
    return starts_on + dt.timedelta(days=int(rule.value))


@transaction.atomic
def end_agreement(
    *,
    agreement: Agreement,
    ended_on: dt.date,
    reason: str,
    by: User | None,
    refund_basis: str = Agreement.RefundBasis.DAYS,
    now: dt.datetime | None = None,
) -> Agreement:
    """End an agreement before its term is out. Ending it again changes nothing.

    `ended_on` is the first day it no longer covers. What was charged beyond goes back by
    `refund_basis`. `by` is None where the sale of the house ends it.
    """
    if by is not None:
        access.require_change(by, agreement)
    held = locked(agreement)
    if held.ended_on is None and held.state == State.AGREED:
        fields = {"ended_on": ended_on, "ended_reason": reason, "refund_basis": refund_basis}
        save(held, **fields, held_at=None, held_because="")
        said = {"ended_on": ended_on.isoformat(), "refund_basis": refund_basis}
        note(held, Kind.ENDED, now=now or timezone.now(), words=reason, facts=said, by=by)
    agreement.refresh_from_db()
    return agreement


@transaction.atomic
def hand_on(
    *,
    agreement: Agreement,
    sold_on: dt.date,
    buyer: Person | None,
    by: User | None,
    reason: str = "The house was sold.",
    now: dt.datetime | None = None,
) -> Agreement | None:
    """What becomes of an agreement when the house is sold: it ends on the day of the sale.

    The seller gets the rest of the term back by days. With a `buyer` the rest of the term is
    drawn up for them at its share of the price; nobody is bound before they have agreed. Twice
    changes nothing. Gives what was drawn up, if anything was.
    """
    now = now or timezone.now()
    there = Agreement.objects.filter(follows=agreement, followed_how=Agreement.Followed.SALE)
    if there.exists():
        return there.first()
    ends_on = agreement.ends_on
    first = max(sold_on, agreement.starts_on)
    if agreement.ended_on is None and first <= ends_on:
        end_agreement(agreement=agreement, ended_on=first, reason=reason, by=by, now=now)
    first = max(first, local_today(agreement.organisation, now))  # nobody agrees to days gone by
    if buyer is None or first > ends_on or agreement.state != State.AGREED:
        return None
    rest = Agreement.objects.create(
        organisation=agreement.organisation,
        premises=agreement.premises,
        plan=agreement.plan,
        payer=buyer,
        state=State.DRAFT,
        customer_is=agreement.customer_is,
        sold_how=Agreement.SoldHow.DISTANCE,
        starts_on=first,
        ends_on=ends_on,
        price_pence=agreement.price_pence,
        charged_every_months=agreement.charged_every_months,
        renews_itself=agreement.renews_itself,
        follows=None if hasattr(agreement, "followed_by") else agreement,
        followed_how=Agreement.Followed.SALE,
    )
    words = "Drawn up for the new owner: the rest of the term of the agreement before."
    note(rest, Kind.DRAWN_UP, now=now, words=words, by=by)
    return rest


def check_term(
    premises: Premises, starts_on: dt.date, ends_on: dt.date, *, but: Agreement | None = None
) -> None:
    """Raise ValueError for a term that runs backwards or overlaps one that stands."""
    if ends_on < starts_on:
        message = "The agreement would end before it starts."
        raise ValueError(message)
    if overlapping(premises, starts_on, ends_on, but=but):
        raise ValueError(ALREADY)


def overlapping(
    premises: Premises, starts_on: dt.date, ends_on: dt.date, *, but: Agreement | None = None
) -> bool:
    """Whether an agreement that stands covers a day of this term."""
    others = premises.agreements.standing().filter(starts_on__lte=ends_on, ends_on__gte=starts_on)
    if but is not None:
        others = others.exclude(pk=but.pk)
    return any(one.ended_on is None or one.ended_on > starts_on for one in others)


def term_end(starts_on: dt.date, ends_on: dt.date) -> dt.date:
    """Last day of the term after this one, of the same length: whole years stay whole years."""
    return same_length(starts_on, ends_on, ends_on + ONE_DAY)


def same_length(starts_on: dt.date, ends_on: dt.date, first: dt.date) -> dt.date:
    """Last day of a term from `first`, as long as the one given: whole years stay whole years."""
    after = ends_on + ONE_DAY
    if (after.month, after.day) == (starts_on.month, starts_on.day):
        return months_after(first, 12 * (after.year - starts_on.year)) - ONE_DAY
    return first + (ends_on - starts_on)


def todays_rules(agreement: Agreement, now: dt.datetime) -> RuleBook:
    """Rules of the country on the day it is at the office."""
    return RuleBook(agreement.organisation.profile, local_today(agreement.organisation, now))
