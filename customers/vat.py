"""VAT of one line, from the kind of work, what goes on at the place, and the country's rules."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from customers.country_rules import RuleBook
from customers.models import AftercarePlan, Premises, ProfileRule, Service, ServicePrice
from customers.money import split, vat_on

if TYPE_CHECKING:
    from customers.country_rules import Rule
    from customers.models import Organisation

INDUSTRIAL = "_industrial"
NO_RULE = "The country profile says nothing of VAT on this: no VAT is put on. Check."


@dataclass(frozen=True, slots=True)
class VatRule:
    """A rate with the rule it comes from."""

    percent: Fraction
    standing: str
    source: str

    @property
    def is_to_check(self) -> bool:
        """Whether somebody who knows must confirm it."""
        return self.standing != ProfileRule.Standing.LAW


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a bill: a kind of work, pence before VAT, and its VAT."""

    service: Service
    net_pence: int
    vat_pence: int
    rule: VatRule

    @property
    def gross_pence(self) -> int:
        """With VAT."""
        return self.net_pence + self.vat_pence


def rule_of(service: str, activity: str, rules: RuleBook) -> VatRule:
    """The rate of a service for a customer who does this; an activity nobody told is no industry.

    A rule of the service for industry comes before the rule of the service, and that before the
    rule for everything else.
    """
    keys = [f"vat_{service}", "vat_other"]
    if activity == Premises.Activity.INDUSTRIAL:
        keys.insert(0, f"vat_{service}{INDUSTRIAL}")
    found: Rule | None = next((rule for key in keys if (rule := rules.rule(key))), None)
    if found is None:
        return VatRule(Fraction(0), ProfileRule.Standing.CHECK, NO_RULE)
    standing, source = found.standing, found.source
    if not activity and service in {Service.EMPTYING, Service.EXTRA_LITRES, Service.TIP}:
        standing = ProfileRule.Standing.CHECK
        source = f"{source}. What goes on at the place is not written down: check"
    return VatRule(Fraction(str(found.value)), standing, source)


def line_of(service: Service, net_pence: int, activity: str, rules: RuleBook) -> Line:
    """One line with its VAT."""
    rule = rule_of(service, activity, rules)
    return Line(service, net_pence, vat_on(net_pence, rule.percent), rule)


def price_list(organisation: Organisation, day: dt.date) -> dict[Service, ServicePrice]:
    """What each piece of work costs on a day outside an agreement."""
    rows = ServicePrice.objects.filter(organisation=organisation).on(day)
    return {Service(row.service): row for row in rows}


def weights_of(
    included: Mapping[Service, int], prices: Mapping[Service, ServicePrice]
) -> dict[Service, int]:
    """What a bundle's parts would cost singly: the key by which its price is shared out.

    A fair share by single prices is common practice (check with your adviser). Where a part has
    no single price the whole is one line of aftercare, at the rate for everything else: nothing
    is zero-rated on a guess. Shared out as for one system, however many the place has: the page
    of the plans says so.
    """
    if not included or any(service not in prices for service in included):
        return {Service.COVER: 1}
    weights = {one: count * prices[one].price_pence for one, count in included.items()}
    return weights if sum(weights.values()) else {Service.COVER: 1}


def lines_of_fee(
    net_pence: int, weights: Mapping[Service, int], activity: str, rules: RuleBook
) -> list[Line]:
    """An aftercare fee shared out to its parts, each with its own VAT; the parts add up to it."""
    amounts = split(net_pence, list(weights.values()))
    return [
        line_of(service, amount, activity, rules)
        for service, amount in zip(weights, amounts, strict=True)
        if amount or len(weights) == 1
    ]


def year_of_plan(
    plan: AftercarePlan, *, price_pence: int, activity: str, on: dt.date
) -> list[Line]:
    """A year of a plan line by line, as a customer is told the price."""
    rules = RuleBook(plan.organisation.profile, on)
    weights = weights_of(plan.included, price_list(plan.organisation, on))
    return lines_of_fee(price_pence, weights, activity, rules)
