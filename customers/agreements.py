"""Selling, renewing and ending aftercare."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.db import transaction

from customers import access
from customers.models import AftercarePlan, Agreement

if TYPE_CHECKING:
    from collections.abc import Mapping

    from customers.models import Organisation, Person, Premises, User


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
) -> Agreement:
    """Sell a plan for a place; without a price, at the plan's.

    Raises ValueError when the term overlaps an agreement that stands, or runs backwards.
    """
    access.require_change(by, premises)
    if ends_on < starts_on:
        message = "The agreement would end before it starts."
        raise ValueError(message)
    if overlapping(premises, starts_on, ends_on):
        message = "There is an agreement for part of this time already. End it first, or renew it."
        raise ValueError(message)
    return Agreement.objects.create(
        organisation=premises.organisation,
        premises=premises,
        plan=plan,
        payer=payer,
        starts_on=starts_on,
        ends_on=ends_on,
        price_pence=plan.price_pence if price_pence is None else price_pence,
        renews_itself=renews_itself,
    )


@transaction.atomic
def renew_agreement(*, agreement: Agreement, price_pence: int, by: User) -> Agreement:
    """Follow an agreement by another of the same length. Renewing twice gives the same one."""
    access.require_change(by, agreement)
    starts_on = agreement.ends_on + dt.timedelta(days=1)
    following = agreement.premises.agreements.filter(starts_on=starts_on, ended_on=None).first()
    if following is not None:
        return following
    return start_agreement(
        premises=agreement.premises,
        plan=agreement.plan,
        payer=agreement.payer,
        starts_on=starts_on,
        ends_on=term_end(agreement.starts_on, agreement.ends_on),
        price_pence=price_pence,
        renews_itself=agreement.renews_itself,
        by=by,
    )


@transaction.atomic
def end_agreement(*, agreement: Agreement, ended_on: dt.date, reason: str, by: User) -> Agreement:
    """End an agreement before its term is out. Ending it again changes nothing."""
    access.require_change(by, agreement)
    if agreement.ended_on is None:
        agreement.ended_on = ended_on
        agreement.ended_reason = reason
        agreement.save(update_fields=["ended_on", "ended_reason", "changed_at"])
    return agreement


def overlapping(premises: Premises, starts_on: dt.date, ends_on: dt.date) -> bool:
    """Whether an agreement that stands covers a day of this term."""
    others = premises.agreements.filter(starts_on__lte=ends_on, ends_on__gte=starts_on)
    return any(one.ended_on is None or one.ended_on > starts_on for one in others)


def term_end(starts_on: dt.date, ends_on: dt.date) -> dt.date:
    """Last day of the term after this one, of the same length: whole years stay whole years."""
    after = ends_on + dt.timedelta(days=1)
    if (after.month, after.day) == (starts_on.month, starts_on.day):
        years = after.year - starts_on.year
        return after.replace(year=after.year + years) - dt.timedelta(days=1)
    return ends_on + (after - starts_on)
