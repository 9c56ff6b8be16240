"""Fees of agreements as they fall due, and what goes back when one ends before its term is out."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from fractions import Fraction
from typing import TYPE_CHECKING

from django.db import transaction

from customers.agreement_terms import Stretch, instalments, used_days
from customers.country_rules import RuleBook
from customers.models import Agreement, Service
from customers.money import nearest, share_of_days, split, vat_on
from customers.vat import lines_of_fee, price_list, weights_of
from scheduler.aftercare.lines import (
    About,
    charging_begins,
    day_words,
    give_back,
    make_void,
    rule_as_charged,
    who_pays,
    write_charge,
)
from scheduler.aftercare.work_done import fits
from scheduler.models import Charge, Reckoning
from servicing.models import System

if TYPE_CHECKING:
    from collections.abc import Mapping

    from customers.models import Organisation

Basis = Agreement.RefundBasis


def charge_fees_of(organisation: Organisation, *, today: dt.date) -> int:
    """Write the instalments that have fallen due and what goes back; give the number of lines."""
    begins = charging_begins(organisation)
    if begins is None:
        return 0
    rows = Agreement.objects.filter(
        organisation=organisation,
        state__in=[Agreement.State.AGREED, Agreement.State.CANCELLED],
        starts_on__lte=today,
        ends_on__gte=begins,
    ).select_related("organisation__profile", "premises", "plan", "payer")
    before = Charge.objects.filter(organisation=organisation).count()
    for agreement in rows.order_by("pk"):
        settle(agreement, today=today, begins=begins)
    return Charge.objects.filter(organisation=organisation).count() - before


@transaction.atomic
def settle(agreement: Agreement, *, today: dt.date, begins: dt.date | None = None) -> None:
    """Bring the charges of one agreement to what they should be today; twice changes nothing."""
    begins = begins or charging_begins(agreement.organisation)
    if begins is None:
        return
    charged = set(
        agreement.charges.filter(key__startswith="fee:").values_list("covers_from", flat=True)
    )
    for number, part in enumerate(instalments(agreement), start=1):
        is_due = begins <= part.first <= min(today, agreement.last_day)
        if is_due and part.first not in charged:
            _charge(agreement, part, number)
    if agreement.ended_on is not None:
        _give_back(agreement, today=today)


def _charge(agreement: Agreement, part: Stretch, number: int) -> None:
    lines = lines_of_fee(
        part.pence,
        weights_of(agreement.plan.included, price_list(agreement.organisation, part.first)),
        agreement.premises.activity,
        RuleBook(agreement.organisation.profile, part.first),
    )
    about = About(
        organisation=agreement.organisation,
        premises=agreement.premises,
        payer=agreement.payer or who_pays(agreement.premises, part.first),
        charged_on=part.first,
        agreement=agreement,
        covers_from=part.first,
        covers_to=part.last,
    )
    span = f"{day_words(part.first)} to {day_words(part.last)}"
    for line in lines:
        what = "" if line.service == Service.COVER else f", {line.service.label.lower()}"
        write_charge(
            about,
            key=f"fee:{agreement.public_id.hex}:{number}:{line.service}",
            line=line,
            words=f"{agreement.plan}{what}, {span}",
        )


def _give_back(agreement: Agreement, *, today: dt.date) -> None:
    """What was charged for more than was had goes back, instalment by instalment.

    What stays of an instalment is rounded once and shared out to its lines so that they add up.
    """
    parts: defaultdict[dt.date, list[Charge]] = defaultdict(list)
    fees = agreement.charges.that_count().filter(key__startswith="fee:")
    back = set(
        agreement.charges.that_count().filter(key__startswith="back:").values_list("key", flat=True)
    )
    for charge in fees.select_related("organisation", "premises", "payer").order_by("pk"):
        parts[charge.covers_from or charge.charged_on].append(charge)
    share = share_done(agreement) if agreement.refund_basis == Basis.DONE else None
    because = f"Ended on {day_words(agreement.ended_on or today)}."
    for first, charges in parts.items():
        part = Stretch(first, charges[0].covers_to or first, sum(one.net_pence for one in charges))
        if not part.pence or any(f"back:{one.public_id.hex}" in back for one in charges):
            continue
        kept = _kept(agreement, part, share)
        for charge, stays in zip(
            charges, split(kept, [one.net_pence for one in charges]), strict=True
        ):
            _reduce(charge, stays, because=because, today=today)


def _reduce(charge: Charge, stays: int, *, because: str, today: dt.date) -> None:
    """Let `stays` pence of a charge stand: the rest goes back, or it is void where nothing stays."""
    if stays == charge.net_pence:
        return
    if stays == 0 and charge.state == Charge.State.OWED:
        make_void(charge, because)
        return
    give_back(
        charge,
        net_pence=charge.net_pence - stays,
        vat_pence=charge.vat_pence - vat_on(stays, rule_as_charged(charge).percent),
        because=because,
        on=today,
    )


def _kept(agreement: Agreement, part: Stretch, share: Fraction | None) -> int:
    """Pence of an instalment that stay charged."""
    if agreement.refund_basis == Basis.NONE:
        return part.pence
    if agreement.refund_basis == Basis.ALL:
        return 0
    if share is not None:
        return nearest(part.pence * share)
    return share_of_days(part.pence, used_days(part, agreement.last_day), part.days)


def share_done(agreement: Agreement) -> Fraction | None:
    """What the visits made are worth against all that are included; None: reckon by days.

    SI 2013/3134 regulation 36: who asked for an early start and then cancels pays in proportion
    to what was supplied, in comparison with the whole (from memory, check). Each visit is weighed
    by its single price.
    """
    prices = price_list(agreement.organisation, agreement.starts_on)
    weights: Mapping[Service, int] = weights_of(agreement.plan.included, prices)
    if Service.COVER in weights:
        return None
    whole = sum(pence * _systems_for(agreement, one) for one, pence in weights.items())
    made = Reckoning.objects.filter(
        agreement=agreement, outcome=Reckoning.Outcome.INCLUDED, service__in=weights
    ).values_list("service", flat=True)
    done = sum(prices[Service(service)].price_pence for service in made)
    return min(Fraction(1), Fraction(done, whole))


def _systems_for(agreement: Agreement, service: Service) -> int:
    """Systems at the place for which a kind of visit is included; one at least."""
    systems = System.objects.in_use().filter(premises=agreement.premises_id)
    if service not in {Service.EMPTYING, Service.SERVICE, Service.INSPECTION}:
        return max(1, systems.count())
    return max(1, sum(fits(service, one, one.chambers.exists()) for one in systems))
