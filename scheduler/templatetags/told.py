"""Ways from a person, a place or a job to what was said about it, and to a calendar of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import template
from django.urls import reverse

from customers.access import may
from customers.models import Person, Premises
from scheduler.messages.said import said_about

if TYPE_CHECKING:
    from scheduler.models import Job

register = template.Library()


@register.inclusion_tag("scheduler/messages/_told.html", takes_context=True)
def told(context: dict[str, Any], about: Person | Premises | Job) -> dict[str, Any]:
    """The last messages about something, with the way to all of them."""
    kind = {Person: "person", Premises: "premises"}.get(type(about), "job")
    request = context["request"]
    return {
        "request": request,
        "csrf_token": context.get("csrf_token"),
        "kind": kind,
        "about": about,
        "all": reverse("scheduler:told", args=[kind, about.public_id]),
        "last": said_about(about).messages[:3],
        "may_tell": may(request.user, "tell", about.organisation),
    }
