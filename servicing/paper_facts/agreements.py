"""What an agreement and a notice of renewal say."""

from __future__ import annotations

from typing import TYPE_CHECKING

from customers.agreements import term_end
from servicing.documents import AgreementFacts, Issuer, RenewalFacts
from servicing.models import System

from .people import address_of, place_words
from .visits import system_words

if TYPE_CHECKING:
    from customers.models import Agreement


def pounds(pence: int) -> str:
    """Pence as pounds."""
    return f"£{pence / 100:,.2f}"


def payer_words(agreement: Agreement) -> tuple[str, str]:
    """Name and address of who pays."""
    if agreement.payer is None:
        return "The owner", place_words(agreement.premises)
    return agreement.payer.name, address_of(agreement.payer, agreement.premises)


def agreement_facts(agreement: Agreement, *, issuer: Issuer) -> AgreementFacts:
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
        price=pounds(agreement.price_pence),
        renews_itself=agreement.renews_itself,
    )


def renewal_facts(
    agreement: Agreement, *, issuer: Issuer, new_price_pence: int, reason: str = ""
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
        old_price=pounds(agreement.price_pence),
        new_price=pounds(new_price_pence),
        reason=reason,
        renews_itself=agreement.renews_itself,
    )
