"""The aftercare agreement, and the notice before it renews itself."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from .blocks import (
    Blanks,
    Block,
    Heading,
    Issuer,
    NewPage,
    Points,
    Sheet,
    Stamp,
    Table,
    Text,
    ToCheck,
    ToSign,
    day_words,
    known,
)
from .cautions import LEFT_REACHABLE, OWNER
from .typesetting import typeset

CANCELLATION = (
    "Sold at a distance or away from our premises to a consumer, this agreement can be cancelled "
    "without a reason within 14 days from the day after it was made (Consumer Contracts "
    "(Information, Cancellation and Additional Charges) Regulations 2013, SI 2013/3134). If you "
    "ask us to begin earlier and then cancel, you pay for what was done until then."
)
VAT = (
    "VAT is worked out by the kind of work and by what goes on at the place. A rate that is not "
    "confirmed yet is looked at again before we bill."
)
RENEWAL = (
    "Rules on notices before renewal (Digital Markets, Competition and Consumers Act 2024) are "
    "not in force in every part yet; this notice is sent in good time all the same."
)
OWNERS_PART = (
    "Keep the way to the tank and its cover clear, and the cover reachable.",
    "Leave the power of a treatment plant on.",
    "Tell us when more or fewer people live there, or when you let the house.",
    "Tell us before the house is sold: the agreement and its records can go with it.",
)


@dataclass(frozen=True, kw_only=True)
class YearPrice:
    """A price a year, written out: before VAT, the VAT at each rate, and what is paid in all.

    `vat` holds the rate, what it is put on, and its amount; `to_check` says that a rate is not
    confirmed.
    """

    net: str
    vat: tuple[tuple[str, str, str], ...]
    total: str
    to_check: bool = False


@dataclass(frozen=True, kw_only=True)
class AgreementFacts:
    """What was sold, and for how much a year."""

    issuer: Issuer
    payer: str
    payer_address: str
    place: str
    address: str
    systems: tuple[str, ...]
    plan: str
    includes: tuple[str, ...]
    visits: tuple[tuple[str, str], ...]
    begins_on: dt.date
    ends_on: dt.date
    price: YearPrice
    renews_itself: bool


def agreement(told: AgreementFacts, stamp: Stamp) -> bytes:
    """PDF of the agreement."""
    return typeset(agreement_sheet(told, stamp))


def agreement_sheet(told: AgreementFacts, stamp: Stamp) -> Sheet:
    """The agreement in pieces."""
    end = (
        "It renews itself for a year unless either side ends it; we write to you before."
        if told.renews_itself
        else "It ends on that day unless both sides renew it."
    )
    return Sheet(
        title="Aftercare agreement",
        about=f"{told.plan}, {told.place}",
        issuer=told.issuer,
        stamp=stamp,
        foot="One copy for each side.",
        blocks=(
            *_parties(told),
            Heading("What is included"),
            known(*told.visits),
            *((Points(told.includes),) if told.includes else ()),
            Heading("Term and price"),
            known(
                ("From", day_words(told.begins_on)),
                ("Until", day_words(told.ends_on), end),
            ),
            _priced("Price a year", told.price),
            *_check(told.price),
            Heading("What you do"),
            Points(OWNERS_PART),
            LEFT_REACHABLE,
            OWNER,
            Heading("Changing your mind"),
            ToCheck(CANCELLATION),
            ToSign(((f"For {told.issuer.name}", ""), ("Customer", told.payer))),
            *_cancellation_form(told, stamp),
        ),
    )


def _parties(told: AgreementFacts) -> tuple[Block, ...]:
    return (
        Heading("Between"),
        known(
            ("Firm", told.issuer.name),
            ("Customer", told.payer),
            ("Customer's address", told.payer_address),
            ("Premises", told.address),
            ("Systems", "\n".join(told.systems)),
        ),
    )


def _priced(caption: str, price: YearPrice) -> Table:
    rows = (
        ("Before VAT", price.net),
        *((f"VAT {rate} on {base}", amount) for rate, base, amount in price.vat),
        ("Together, with VAT", price.total),
    )
    return Table(caption, ("What", "A year"), rows, widths=(3, 1), figures=(1,))


def _check(*prices: YearPrice) -> tuple[ToCheck, ...]:
    return (ToCheck(VAT),) if any(price.to_check for price in prices) else ()


def _cancellation_form(told: AgreementFacts, stamp: Stamp) -> tuple[Block, ...]:
    return (
        NewPage(),
        Heading("Form to cancel with: fill in and send back only if you want to cancel"),
        Text(f"To {told.issuer.name}\n{told.issuer.address}\n{told.issuer.email}"),
        Text(f"I cancel the aftercare agreement number {stamp.number} for {told.place}."),
        Blanks((("Agreed on", "date"), ("Name", ""), ("Address", ""), ("Date", ""))),
        ToSign((("Customer (only when sent on paper)", ""),)),
    )


@dataclass(frozen=True, kw_only=True)
class RenewalFacts:
    """What changes when an agreement renews itself."""

    issuer: Issuer
    payer: str
    payer_address: str
    place: str
    plan: str
    ends_on: dt.date
    new_ends_on: dt.date
    old_price: YearPrice
    new_price: YearPrice
    reason: str = ""
    renews_itself: bool = True


def renewal_notice(told: RenewalFacts, stamp: Stamp) -> bytes:
    """PDF of the notice."""
    return typeset(renewal_notice_sheet(told, stamp))


def renewal_notice_sheet(told: RenewalFacts, stamp: Stamp) -> Sheet:
    """The notice in pieces."""
    ends = day_words(told.ends_on)
    what = (
        f"Your agreement renews itself after {ends}. If that is what you want, you need do nothing."
        if told.renews_itself
        else f"Your agreement ends on {ends}. It goes on only if you tell us so."
    )
    return Sheet(
        title="Your aftercare agreement: notice of renewal",
        about=f"{told.plan}, {told.place}",
        issuer=told.issuer,
        stamp=stamp,
        foot="A notice about your agreement; it advertises nothing.",
        blocks=(
            Text(f"{told.payer}\n{told.payer_address}"),
            Text(what),
            Heading("Term and price"),
            known(
                ("Present term ends", ends),
                ("New term ends", day_words(told.new_ends_on)),
                ("In all a year now", f"{told.old_price.total} with VAT"),
                ("In all a year from then", f"{told.new_price.total} with VAT"),
                ("Why it changes", told.reason),
            ),
            _priced("Price a year now", told.old_price),
            _priced("Price a year from then", told.new_price),
            *_check(told.old_price, told.new_price),
            Heading("If you do not want it"),
            Text(
                f"Tell {told.issuer.name} before {ends} in any way you like, or send the slip "
                "below. There is no charge for leaving at the end of a term."
            ),
            ToCheck(RENEWAL),
            Blanks(((f"I do not renew the agreement for {told.place}. Name", ""), ("Date", ""))),
        ),
    )
