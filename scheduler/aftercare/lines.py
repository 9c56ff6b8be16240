"""Writing a charge down once, with the rule that decided its VAT; taking one back."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from django.db.models import Min
from django.utils.formats import date_format

from customers.models import Party, Service, ServicePrice
from customers.vat import Line, VatRule
from scheduler.models import Charge

if TYPE_CHECKING:
    from customers.models import Agreement, Organisation, Person, Premises
    from scheduler.models import Job
    from servicing.models import Visit

State = Charge.State
# Who is charged where no agreement says so, first come first.
PAYS = (Party.Role.PAYER, Party.Role.OWNER, Party.Role.OPERATOR)


@dataclass(frozen=True, kw_only=True)
class About:
    """What a charge is for, and to whom it goes."""

    organisation: Organisation
    premises: Premises
    payer: Person | None
    charged_on: dt.date
    agreement: Agreement | None = None
    job: Job | None = None
    visit: Visit | None = None
    covers_from: dt.date | None = None
    covers_to: dt.date | None = None


def charging_begins(organisation: Organisation) -> dt.date | None:
    """The first day of the price list: nothing from before it is charged here; None without one."""
    rows = ServicePrice.objects.filter(organisation=organisation)
    first: dt.date | None = rows.aggregate(first=Min("valid_from"))["first"]
    return first


def write_charge(about: About, *, key: str, line: Line, words: str) -> Charge:
    """The charge of this key, made where it is missing: the same is charged once."""
    percent = Decimal(line.rule.percent.numerator) / Decimal(line.rule.percent.denominator)
    there = Charge.objects.that_count().filter(organisation=about.organisation, key=key).first()
    return there or Charge.objects.create(
        organisation=about.organisation,
        premises=about.premises,
        payer=about.payer,
        agreement=about.agreement,
        job=about.job,
        visit=about.visit,
        key=key,
        service=line.service,
        words=words[:300],
        covers_from=about.covers_from,
        covers_to=about.covers_to,
        charged_on=about.charged_on,
        net_pence=line.net_pence,
        vat_percent=percent,
        vat_pence=line.vat_pence,
        vat_standing=line.rule.standing,
        vat_source=line.rule.source,
    )


def rule_as_charged(charge: Charge) -> VatRule:
    """The rule by which the VAT of a charge was decided."""
    return VatRule(Fraction(charge.vat_percent), charge.vat_standing, charge.vat_source)


def make_void(charge: Charge, because: str) -> None:
    """An owed charge that was wrong, or no longer holds; what is exported gets a refund instead."""
    charge.state, charge.void_because = State.VOID, because[:200]
    charge.save(update_fields=["state", "void_because", "changed_at"])


def take_back(charge: Charge, *, because: str, on: dt.date) -> Charge | None:
    """Undo a charge: void while it is owed, a line with a minus once the bookkeeping has it."""
    if charge.state == State.OWED:
        make_void(charge, because)
        return None
    return give_back(
        charge, net_pence=charge.net_pence, vat_pence=charge.vat_pence, because=because, on=on
    )


def give_back(
    charge: Charge, *, net_pence: int, vat_pence: int, because: str, on: dt.date
) -> Charge:
    """A line with a minus against a charge, once for each charge."""
    about = About(
        organisation=charge.organisation,
        premises=charge.premises,
        payer=charge.payer,
        charged_on=on,
        agreement=charge.agreement,
        job=charge.job,
        visit=charge.visit,
        covers_from=charge.covers_from,
        covers_to=charge.covers_to,
    )
    line = Line(_service(charge), -net_pence, -vat_pence, rule_as_charged(charge))
    words = f"Given back: {charge.words}. {because}"
    return write_charge(about, key=f"back:{charge.public_id.hex}", line=line, words=words)


def _service(charge: Charge) -> Service:
    return Service(charge.service)


def who_pays(premises: Premises, day: dt.date) -> Person | None:
    """Who is charged for work at a place outside an agreement."""
    parties = [
        one
        for one in premises.parties.select_related("person").order_by("pk")
        if one.role in PAYS
        and (one.since is None or one.since <= day)
        and (one.until is None or one.until >= day)
    ]
    parties.sort(key=lambda one: PAYS.index(Party.Role(one.role)))
    return parties[0].person if parties else None


def day_words(day: dt.date) -> str:
    """A day as it stands on a bill."""
    return date_format(day, "j M Y")
