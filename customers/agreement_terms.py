"""Years, instalments and last days to cancel of an agreement: dates and pence, no writing."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import holidays

from customers.models import Agreement, CountryProfile
from customers.money import days_in, months_after, share_of_days, split

if TYPE_CHECKING:
    from collections.abc import Iterator

    from customers.country_rules import Rule, RuleBook

ONE_DAY = dt.timedelta(days=1)
SATURDAY = 5


@dataclass(frozen=True, slots=True)
class Stretch:
    """Days from `first` to `last`, both counted, and what they cost before VAT."""

    first: dt.date
    last: dt.date
    pence: int = 0

    @property
    def days(self) -> int:
        """How many days it has."""
        return days_in(self.first, self.last)


def years_of(starts_on: dt.date, ends_on: dt.date) -> Iterator[Stretch]:
    """Years of a term, each from the same day of the year; the last may be shorter."""
    number, first = 1, starts_on
    while first <= ends_on:
        after = months_after(starts_on, 12 * number)
        yield Stretch(first, min(after - ONE_DAY, ends_on))
        number, first = number + 1, after


def year_around(agreement: Agreement, day: dt.date) -> Stretch:
    """The year of an agreement in which `day` lies: what is included is counted within it."""
    found = [one for one in years_of(agreement.starts_on, agreement.ends_on) if one.first <= day]
    return found[-1] if found else next(years_of(agreement.starts_on, agreement.ends_on))


def instalments(agreement: Agreement) -> list[Stretch]:
    """What falls due when, over the whole term: a year's price in equal parts to the penny.

    A whole year costs the yearly price, split into equal instalments of which the first ones
    take the odd pence. A shorter last year costs its share by days, split by the days of each.
    """
    found = []
    for year in years_of(agreement.starts_on, agreement.ends_on):
        full = days_in(year.first, months_after(year.first, 12) - ONE_DAY)
        whole = year.days >= full
        price = agreement.price_pence
        pence = price if whole else share_of_days(price, year.days, full)
        parts = list(_parts(year, agreement.charged_every_months))
        weights = [1 if whole else part.days for part in parts]
        for part, amount in zip(parts, split(pence, weights), strict=True):
            found.append(Stretch(part.first, part.last, amount))
    return found


def _parts(year: Stretch, every: int) -> Iterator[Stretch]:
    number, first = 1, year.first
    while first <= year.last:
        after = months_after(year.first, every * number)
        yield Stretch(first, min(after - ONE_DAY, year.last))
        number, first = number + 1, after


def price_of_term(agreement: Agreement) -> int:
    """Pence for the whole term, before VAT."""
    return sum(one.pence for one in instalments(agreement))


def used_days(part: Stretch, last_day: dt.date) -> int:
    """Days of `part` until `last_day`, both counted."""
    return days_in(part.first, min(part.last, last_day))


@dataclass(frozen=True, slots=True)
class Right:
    """The right to cancel without a reason: its last day and the rule it comes from."""

    last_day: dt.date
    rule: Rule


def right_to_cancel(
    *,
    agreement: Agreement,
    agreed_on: dt.date,
    rules: RuleBook,
) -> Right | None:
    """Until when a consumer may cancel an agreement made at a distance or away from our premises.

    None for a business, for what was sold on our own premises, and where the profile knows no
    such right. Whoever is not known to be a business is taken for a consumer.
    """
    rule = rules.rule("cancellation_days")
    if not agreement.is_consumers or rule is None:
        return None
    if agreement.sold_how == Agreement.SoldHow.ON_PREMISES:
        return None
    last = last_day_to_cancel(
        agreed_on,
        days=int(rule.value),
        informed_on=agreement.information_given_on,
        uninformed_months=_number(rules, "cancellation_months_uninformed"),
    )
    moves = rules.rule("cancellation_ends_on_working_day")
    if moves is not None and moves.value:
        last = working_day_from(last, rules.profile)
    return Right(last, rule)


def last_day_to_cancel(
    agreed_on: dt.date, *, days: int, informed_on: dt.date | None, uninformed_months: int = 0
) -> dt.date:
    """Last of `days` calendar days counted from the day after the contract was made.

    SI 2013/3134 regulation 30: a period for services ends at the end of 14 days after the day on
    which the contract is made. Regulation 31 (from memory): where the customer was not told of the
    right, 12 months more; told within these, 14 days after the day of being told.
    """
    usual = agreed_on + dt.timedelta(days=days)
    if informed_on is not None and informed_on <= agreed_on:
        return usual
    latest = months_after(usual, uninformed_months)
    if informed_on is None:
        return latest
    return max(usual, min(latest, informed_on + dt.timedelta(days=days)))


def working_day_from(day: dt.date, profile: CountryProfile) -> dt.date:
    """The day itself, or the next that is no Saturday, Sunday or public holiday."""
    off = holidays.country_holidays(
        profile.holidays_country, subdiv=profile.holidays_subdivision or None
    )
    while day.weekday() >= SATURDAY or day in off:
        day += ONE_DAY
    return day


def days_of_notice(agreement: Agreement, rules: RuleBook) -> int:
    """First notice of renewal goes out so many days before the end."""
    own = agreement.plan.renewal_notice_days
    return own if own is not None else _number(rules, "renewal_first_notice_days", 45)


def days_of_last_notice(rules: RuleBook) -> int:
    """A notice that goes out later than this before the end is too late to renew on."""
    return _number(rules, "renewal_last_notice_days", 14)


def days_before_new_price(rules: RuleBook) -> int:
    """A new price is told so many days before it holds."""
    return _number(rules, "price_change_notice_days", 30)


def _number(rules: RuleBook, key: str, otherwise: int = 0) -> int:
    rule = rules.rule(key)
    return int(rule.value) if rule is not None else otherwise
