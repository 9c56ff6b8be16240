"""What the crew of a job sent that somebody should read: notes, photographs, what is not settled."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import template
from django.db.models import Q

from scheduler.models import Delivery

if TYPE_CHECKING:
    from scheduler.models import Job

register = template.Library()
SHOWN = 20


@register.inclusion_tag("scheduler/_from_the_crew.html")
def from_the_crew(job: Job) -> dict[str, Any]:
    """Notes and whatever did not simply go through, newest first, with the visit's photographs."""
    told = job.deliveries.select_related("sent_by").filter(
        Q(kind=Delivery.Kind.NOTE)
        | Q(clock_off_seconds__isnull=False)
        | ~Q(state=Delivery.State.TAKEN)
    )
    photos = job.visit.photos.all() if job.visit else ()
    return {"entries": told[:SHOWN], "photos": photos}
