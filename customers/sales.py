"""A place is sold: told of, looked at by the office, called off. `scheduler` completes it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction

from customers import access
from customers.models import Premises, Sale

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from customers.models import OwnerLink, User


class SaleRefused(ValueError):
    """The sale does not allow this any more; says why and what to do."""


@transaction.atomic
def note_sale(*, premises: Premises, facts: Mapping[str, Any], by: User, now: dt.datetime) -> Sale:
    """Write a sale down, confirmed. Raises SaleRefused where one is under way already."""
    access.require_change(by, premises)
    _hold(premises)
    return Sale.objects.create(
        organisation=premises.organisation,
        premises=premises,
        confirmed_at=now,
        confirmed_by=by,
        **facts,
    )


@transaction.atomic
def ask_sale(*, link: OwnerLink, facts: Mapping[str, Any]) -> Sale:
    """A seller tells of the sale on the owner's page; the office has to confirm it."""
    _hold(link.premises)
    return Sale.objects.create(
        organisation=link.premises.organisation,
        premises=link.premises,
        asked_by=link.person,
        **facts,
    )


@transaction.atomic
def change_sale(*, sale: Sale, facts: Mapping[str, Any], by: User) -> Sale:
    """Correct what is known of an open sale."""
    access.require_change(by, sale)
    _require_open(sale)
    for name, value in facts.items():
        setattr(sale, name, value)
    if facts:
        sale.save(update_fields=[*facts, "changed_at"])
    return sale


@transaction.atomic
def confirm_sale(*, sale: Sale, by: User, now: dt.datetime) -> Sale:
    """The office has asked and it is so. Confirming twice changes nothing."""
    access.require_change(by, sale)
    _require_open(sale)
    if sale.confirmed_at is None:
        sale.confirmed_at, sale.confirmed_by = now, by
        sale.save(update_fields=["confirmed_at", "confirmed_by", "changed_at"])
    return sale


@transaction.atomic
def call_off_sale(*, sale: Sale, because: str, by: User, now: dt.datetime) -> Sale:
    """The sale does not come about; nothing else had changed by it. Twice changes nothing."""
    access.require_change(by, sale)
    return _call_off(sale, because, now)


@transaction.atomic
def take_back_sale(*, link: OwnerLink, now: dt.datetime) -> Sale | None:
    """A seller takes back what the office has not confirmed yet; None where there is nothing."""
    asked = Sale.objects.open().filter(
        premises=link.premises, asked_by=link.person, confirmed_at__isnull=True
    )
    sale = asked.select_for_update().first()
    return _call_off(sale, "Taken back by the seller", now) if sale else None


def _call_off(sale: Sale, because: str, now: dt.datetime) -> Sale:
    if sale.completed_at is not None:
        message = "The sale is completed. If that was wrong, write the people down again."
        raise SaleRefused(message)
    if sale.called_off_at is None:
        sale.called_off_at, sale.called_off_because = now, because[:200]
        sale.save(update_fields=["called_off_at", "called_off_because", "changed_at"])
    return sale


def open_sale(premises: Premises) -> Sale | None:
    """The sale of a place that is under way."""
    return Sale.objects.open().filter(premises=premises).first()


def _require_open(sale: Sale) -> None:
    sale.refresh_from_db(fields=["completed_at", "called_off_at"])
    if not sale.is_open:
        message = "The sale is settled already."
        raise SaleRefused(message)


def _hold(premises: Premises) -> None:
    """Let two tellings at once come one after the other; of one sale under way there is one."""
    Premises.objects.select_for_update().get(pk=premises.pk)
    if open_sale(premises) is not None:
        message = "A sale of this place is under way already."
        raise SaleRefused(message)
