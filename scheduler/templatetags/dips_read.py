"""A reading as the crew entered it, beside the depths it was turned into."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import template

from servicing.dip_readings import entered_words

if TYPE_CHECKING:
    from servicing.models import Dip

register = template.Library()


@register.filter
def as_read(dip: Dip) -> str:
    """What was read, in words; empty where the depths themselves were entered."""
    return entered_words(dip.entered)
