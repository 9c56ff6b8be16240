"""What an agreement and a notice of renewal say."""

from __future__ import annotations

import copy
from collections import defaultdict
from typing import TYPE_CHECKING

from customers.agreement_words import year_lines
from customers.agreements import term_end
from servicing.documents import AgreementFacts, Issuer, RenewalFacts, YearPrice
from servicing.models import System

from .people import address_of, place_words
from .visits import system_words

if TYPE_CHECKING:
    import datetime as dt
    from fractions import Fraction

    from customers.models import Agreement
    from customers.vat import Line


def pounds(pence: int) -> str:
    """Pence as pounds."""
    return f"£{pence / 100:,.2f}"


def payer_words(agreement: Agreement) -> tuple[str, str]:
    """Name and address of who pays."""
    if agreement.payer is None:
        return "The owner", place_words(agreement.premises)
    return agreement.payer.name, address_of(agreement.payer, agreement.premises)


def year_price(agreement: Agreement, price_pence: int, *, today: dt.date) -> YearPrice:
    """A yearly price with its VAT, line by line as the offer words it and the bill charges it."""
    priced = copy.copy(agreement)
    priced.price_pence = price_pence
    lines = year_lines(priced, today=today)
    rates: defaultdict[Fraction, list[Line]] = defaultdict(list)
    for line in lines:
        rates[line.rule.percent].append(line)
    return YearPrice(
        net=pounds(sum(line.net_pence for line in lines)),
        vat=tuple(
            (
                f"{float(rate):g} %",
                pounds(sum(line.net_pence for line in rates[rate])),
                pounds(sum(line.vat_pence for line in rates[rate])),
            )
            for rate in sorted(rates)
        ),
        total=pounds(sum(line.gross_pence for line in lines)),
        to_check=any(line.rule.is_to_check for line in lines),
    )


def agreement_facts(agreement: Agreement, *, issuer: Issuer, today: dt.date) -> AgreementFacts:
    """Facts of an agreement."""
    plan, premises = agreement.plan, agreement.premises
    payer, address = payer_words(agreement)
    visits = (
        ("Emptyings a year", plan.emptyings_per_year),
        ("Service visits a year", plan.service_visits_per_year),
        ("Chamber inspections a year", plan.inspections_per_year),
        ("Jettings a year", plan.jettings_per_year),
        ("Call-outs a year", plan.call_outs_per_year),
        ("Litres included at one emptying", plan.emptying_litres_included),
        ("We come within, hours after you report trouble", plan.response_hours),
    )
    return AgreementFacts(
        issuer=issuer,
        payer=payer,
        payer_address=address,
        place=str(premises),
        address=place_words(premises),
        systems=tuple(
            system_words(one) for one in System.objects.in_use().filter(premises=premises)
        ),
        plan=plan.name,
        includes=tuple(line.strip() for line in plan.includes.splitlines() if line.strip()),
        visits=tuple((name, str(count)) for name, count in visits if count),
        begins_on=agreement.starts_on,
        ends_on=agreement.ends_on,
        price=year_price(agreement, agreement.price_pence, today=today),
        renews_itself=agreement.renews_itself,
    )


def renewal_facts(
    agreement: Agreement,
    *,
    issuer: Issuer,
    new_price_pence: int,
    today: dt.date,
    reason: str = "",
) -> RenewalFacts:
    """Facts of the next term: as long as this one, from the day after it."""
    payer, address = payer_words(agreement)
    return RenewalFacts(
        issuer=issuer,
        payer=payer,
        payer_address=address,
        place=str(agreement.premises),
        plan=agreement.plan.name,
        ends_on=agreement.ends_on,
        new_ends_on=term_end(agreement.starts_on, agreement.ends_on),
        old_price=year_price(agreement, agreement.price_pence, today=today),
        new_price=year_price(agreement, new_price_pence, today=today),
        reason=reason,
        renews_itself=agreement.renews_itself,
    )
