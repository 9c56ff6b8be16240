"""Offering, agreeing and cancelling with the news of it, in one transaction each."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction

from customers import agreement_sales, renewing
from customers.agreement_sales import fingerprint
from customers.models import Agreement
from scheduler.messages import agreements_told

if TYPE_CHECKING:
    from customers.models import OwnerLink, User
    from customers.models.agreements import AgreementQuerySet


def agreements_for(link: OwnerLink) -> AgreementQuerySet:
    """Agreements of the place that this person may see: those they pay or are offered."""
    mine = Agreement.objects.filter(premises=link.premises, payer=link.person)
    return mine.exclude(state=Agreement.State.DRAFT).select_related(
        "organisation__profile", "premises__organisation", "plan", "payer"
    )


@transaction.atomic
def offer(*, agreement: Agreement, by: User, now: dt.datetime) -> Agreement:
    """Offer an agreement and send word of it. Raises AgreementRefused."""
    offered = agreement_sales.offer(agreement=agreement, by=by, now=now)
    agreements_told.tell_offered(agreement=offered, now=now)
    return offered


@transaction.atomic
def agree_by_link(
    *,
    agreement: Agreement,
    link: OwnerLink,
    name: str,
    seen: str,
    early_start: bool,
    now: dt.datetime,
) -> Agreement:
    """Take the yes from the owner's page. Raises AgreementRefused or ValueError."""
    agreed = agreement_sales.agree(
        agreement=agreement,
        name=name,
        seen=seen,
        early_start=early_start,
        person=link.person,
        now=now,
    )
    agreements_told.tell_agreed(agreement=agreed, now=now)
    return agreed


@transaction.atomic
def agree_on_paper(
    *,
    agreement: Agreement,
    by: User,
    name: str,
    signed_on: dt.date,
    early_start: bool,
    informed: bool,
    now: dt.datetime,
) -> Agreement:
    """Write down a yes that came signed on paper. Raises AgreementRefused or ValueError."""
    agreed = agreement_sales.agree(
        agreement=agreement,
        name=name,
        seen=fingerprint(agreement.offered_text),
        early_start=early_start,
        person=agreement.payer,
        now=now,
        by=by,
        informed=informed,
        how="Signed on paper.",
        agreed_on=signed_on,
    )
    agreements_told.tell_agreed(agreement=agreed, now=now)
    return agreed


@transaction.atomic
def decline_by_link(*, agreement: Agreement, words: str, link: OwnerLink, now: dt.datetime) -> None:
    """Take the no from the owner's page."""
    agreement_sales.decline(agreement=agreement, words=words, now=now, person=link.person)


@transaction.atomic
def cancel_by_link(*, agreement: Agreement, words: str, link: OwnerLink, now: dt.datetime) -> None:
    """Take the cancelling from the owner's page. Raises AgreementRefused when it is too late."""
    cancelled = agreement_sales.cancel(
        agreement=agreement, now=now, words=words, person=link.person
    )
    agreements_told.tell_cancelled(agreement=cancelled, now=now)


@transaction.atomic
def cancel_for_customer(
    *, agreement: Agreement, said_on: dt.date, words: str, by: User, now: dt.datetime
) -> None:
    """The customer cancelled by letter or telephone. Raises AgreementRefused."""
    cancelled = agreement_sales.cancel(
        agreement=agreement, now=now, words=words, by=by, said_on=said_on
    )
    agreements_told.tell_cancelled(agreement=cancelled, now=now)


@transaction.atomic
def stop_by_link(*, agreement: Agreement, link: OwnerLink, now: dt.datetime) -> None:
    """The customer does not want it to renew itself."""
    said = f"Said on the owner's page by {link.person}."
    renewing.stop_renewing(agreement=agreement, words=said, now=now, by=None)
