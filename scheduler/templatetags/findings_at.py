"""What the rules ask at a system, for the page of the system."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import template

from customers.local_days import local_today
from servicing import compliance

if TYPE_CHECKING:
    from servicing.models import System

register = template.Library()


@register.inclusion_tag("servicing/_findings.html")
def findings_at(system: System) -> dict[str, Any]:
    """Findings at a system today."""
    today = local_today(system.organisation)
    return {"findings": compliance.findings_at(system, today)}
