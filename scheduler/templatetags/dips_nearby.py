"""Tanks near a job whose measuring pays, for the crew that is there anyway."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import template

from customers.local_days import local_today
from scheduler.models import Job
from servicing.forecasts.dip_worth import near
from servicing.models import DipWorth

if TYPE_CHECKING:
    from servicing.models import DipWorthQuerySet

register = template.Library()
NEAR_KM = 3.0
SHOWN = 5


@register.inclusion_tag("scheduler/_dips_nearby.html", takes_context=True)
def dips_nearby(context: dict[str, Any], job: Job) -> dict[str, Any]:
    """The nearest tanks worth measuring, as far as the reader may see them.

    The tank that is emptied at this job is left out: its level is measured before it anyway.
    """
    system = job.system
    rows: DipWorthQuerySet = DipWorth.objects.visible_to(context["request"].user).filter(
        organisation=system.organisation_id
    )
    rows = rows.that_pay()
    if job.kind == Job.Kind.EMPTYING:
        rows = rows.exclude(system=system)
    here = system.latitude, system.longitude
    found = (
        near(rows, latitude=here[0], longitude=here[1], km=NEAR_KM)[:SHOWN]
        if here[0] is not None and here[1] is not None
        else []
    )
    return {
        "nearby": found,
        "organisation": system.organisation,
        "today": local_today(system.organisation),
    }
