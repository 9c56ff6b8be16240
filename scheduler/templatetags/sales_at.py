"""The sale of a place, for the page of the place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import template

from customers import access
from customers.sales import open_sale

if TYPE_CHECKING:
    from customers.models import Premises

register = template.Library()


@register.inclusion_tag("scheduler/_sale_at.html", takes_context=True)
def sale_at(context: dict[str, Any], premises: Premises) -> dict[str, Any]:
    """The sale under way, or where one is noted."""
    return {
        "premises": premises,
        "sale": open_sale(premises),
        "can_change": access.may_change(context["request"].user, premises),
    }
