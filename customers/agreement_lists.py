"""Agreements by what somebody has to do about them."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db.models import Count, Exists, OuterRef, Q

from customers.country_rules import RuleBook
from customers.models import Agreement, AgreementEvent

if TYPE_CHECKING:
    from customers.models import Organisation
    from customers.models.agreements import AgreementQuerySet

NOTICE_DAYS = 90
# What waits for somebody first.
SHOWN = {
    "current": "Running now",
    "to_sign": "To be agreed",
    "cancellable": "May still be cancelled",
    "notice": "Renewal notice not given yet",
    "held": "Renewal held",
    "ending": "Ending within 90 days",
    "past": "Ended, cancelled or not wanted",
    "all": "All",
}
WAITING = ("to_sign", "cancellable", "notice", "held")


def chosen(organisation: Organisation, which: str, today: dt.date) -> AgreementQuerySet:
    """Agreements of one of the kinds in SHOWN."""
    if which == "notice":
        return without_notice(organisation, today)
    rows = Agreement.objects.filter(organisation=organisation)
    running = rows.current(today)
    kinds = {
        "current": running,
        "to_sign": rows.to_sign(),
        "cancellable": rows.cancellable(today),
        "held": rows.held(),
        "ending": running.filter(ends_on__lte=today + dt.timedelta(days=NOTICE_DAYS)),
        "past": rows.exclude(pk__in=running.values("pk"))
        .exclude(state__in=[Agreement.State.DRAFT, Agreement.State.OFFERED])
        .exclude(state=Agreement.State.AGREED, starts_on__gt=today),
    }
    return kinds.get(which, rows)


def without_notice(organisation: Organisation, today: dt.date) -> AgreementQuerySet:
    """Renew themselves soon, and nobody has been told: the notice was not sent, or not yet."""
    rule = RuleBook(organisation.profile, today).rule("renewal_first_notice_days")
    days = int(rule.value) if rule is not None else 45
    given = AgreementEvent.objects.filter(agreement=OuterRef("pk"), kind=AgreementEvent.Kind.NOTICE)
    rows = Agreement.objects.filter(organisation=organisation).renewing()
    near = rows.filter(ends_on__gte=today, ends_on__lte=today + dt.timedelta(days=days))
    return near.filter(~Exists(given), held_at__isnull=True, starts_on__lte=today)


def counts(organisation: Organisation, today: dt.date) -> dict[str, int]:
    """How many wait, by kind; in one query."""
    asked = {
        which: Count("pk", filter=Q(pk__in=chosen(organisation, which, today).values("pk")))
        for which in WAITING
    }
    found: dict[str, int] = Agreement.objects.filter(organisation=organisation).aggregate(**asked)
    return found
