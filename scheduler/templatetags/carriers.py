"""The standing of the carrier's registration, where the office looks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import template

from customers.carrier import carrier_notice
from customers.local_days import local_today
from scheduler.models import Tanker

if TYPE_CHECKING:
    from customers.models import Organisation

register = template.Library()


@register.inclusion_tag("scheduler/_carrier.html")
def carrier_standing(organisation: Organisation) -> dict[str, Any]:
    """A notice where the registration has run out or soon will; for who carries waste only."""
    carries = organisation.carrier_registration or Tanker.objects.filter(
        organisation=organisation, in_use=True
    )
    return {"notice": carrier_notice(organisation, local_today(organisation)) if carries else None}
