"""What an agreement includes, charges and cost, for its page; and what may be done about it."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django import template

from customers.agreement_terms import year_around
from customers.models.plans import INCLUDABLE
from scheduler.aftercare.costs import costs_of
from scheduler.aftercare.selling import agreements_for
from scheduler.models import Reckoning

if TYPE_CHECKING:
    from customers.models import Agreement, OwnerLink

register = template.Library()
SHOWN = 60


@register.inclusion_tag("scheduler/_aftercare_of.html", takes_context=True)
def aftercare_of(context: dict[str, Any], agreement: Agreement, today: dt.date) -> dict[str, Any]:
    """Visits included and used, charges, and what the agreement cost until today."""
    charges = agreement.charges.select_related("batch").order_by("-charged_on", "-pk")[:SHOWN]
    return {
        "request": context["request"],
        "agreement": agreement,
        "used": used_of_year(agreement, today),
        "charges": charges,
        "jobs": agreement.jobs.open().select_related("system").order_by("due_on"),
        "cost": costs_of(agreement.organisation, [agreement], today=today)[agreement.pk],
    }


def used_of_year(agreement: Agreement, today: dt.date) -> list[tuple[str, int, int]]:
    """Name, visits used in this year of the agreement, and visits included at one system."""
    year = year_around(agreement, today)
    rows = Reckoning.objects.filter(
        agreement=agreement,
        outcome=Reckoning.Outcome.INCLUDED,
        visit__visited_on__range=(year.first, year.last),
    ).values_list("service", flat=True)
    made = list(rows)
    included = agreement.plan.included
    return [(one.label, made.count(one), included[one]) for one in INCLUDABLE if one in included]


@register.inclusion_tag("scheduler/_agreement_actions.html", takes_context=True)
def agreement_actions(
    context: dict[str, Any], agreement: Agreement, today: dt.date
) -> dict[str, Any]:
    """Offer, sign, cancel: what sends word to the customer."""
    may_cancel = agreement.cancel_by is not None and not agreement.ended_on
    return {
        "agreement": agreement,
        "today": today,
        "may_cancel": may_cancel and agreement.state == agreement.State.AGREED,
        "csrf_token": context.get("csrf_token"),
    }


@register.inclusion_tag("scheduler/_owner_agreements.html")
def owner_agreements(link: OwnerLink, token: str, today: dt.date) -> dict[str, Any]:
    """The agreements of whoever opened the owner's page, what waits for an answer first."""
    rows = list(agreements_for(link).order_by("-ends_on", "-pk"))
    shown = [one for one in rows if one.state != one.State.DECLINED]
    return {
        "token": token,
        "today": today,
        "offered": [one for one in shown if one.state == one.State.OFFERED],
        "standing": [
            (one, used_of_year(one, today)) for one in shown if one.state != one.State.OFFERED
        ][:3],
    }
