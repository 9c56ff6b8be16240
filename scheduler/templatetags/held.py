"""Values of what is held about a person, as people read them."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import template
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext

register = template.Library()

LONGEST = 400


@register.filter
def held_value(value: Any) -> str:
    """A date in words, a yes, a text of bearable length; nothing is a dash."""
    if value is None or value == "":
        return "–"
    if isinstance(value, bool):
        return gettext("yes") if value else gettext("no")
    if isinstance(value, dt.datetime):
        return date_format(timezone.localtime(value), "j M Y, H:i")
    if isinstance(value, dt.date):
        return date_format(value, "j M Y")
    text = str(value)
    if len(text) <= LONGEST:
        return text
    whole = gettext("whole in the file")
    return f"{text[:LONGEST]} … ({whole})"
