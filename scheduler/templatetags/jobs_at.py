"""The jobs of a system, for its page in the register."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import template

from customers.access import may
from customers.local_days import local_today
from scheduler.models import Job

if TYPE_CHECKING:
    from servicing.models import System

register = template.Library()
SHOWN = 20


@register.inclusion_tag("scheduler/_jobs_at.html", takes_context=True)
def jobs_at(context: dict[str, Any], system: System) -> dict[str, Any]:
    """Open jobs first, then the last ones closed."""
    jobs = Job.objects.filter(system=system).select_related("organisation", "handed_to")
    return {
        "system": system,
        "open_jobs": jobs.open().order_by("due_on"),
        "closed_jobs": jobs.exclude(state__in=Job.OPEN).order_by("-changed_at")[:SHOWN],
        "today": local_today(system.organisation),
        "may_plan": may(context["request"].user, "plan", system.organisation),
    }
