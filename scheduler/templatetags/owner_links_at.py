"""Who may open the owner's page of a place, for the page of the place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import template

from customers import access

if TYPE_CHECKING:
    from customers.models import Premises

register = template.Library()


@register.inclusion_tag("scheduler/_owner_links_at.html", takes_context=True)
def owner_links_at(context: dict[str, Any], premises: Premises) -> dict[str, Any]:
    """People of a place with their open link, if they have one."""
    parties = premises.parties.filter(until__isnull=True).select_related("person")
    links = {link.person_id: link for link in premises.links.filter(revoked_at__isnull=True)}
    people = {party.person: links.get(party.person_id) for party in parties}
    return {
        "premises": premises,
        "people": list(people.items()),
        "can_change": access.may_change(context["request"].user, premises),
        "csrf_token": context.get("csrf_token"),
    }
