"""Figures as the reader of the page is used to seeing them."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, TypeAlias

from django import template
from django.utils.formats import date_format

from servicing import volumes

if TYPE_CHECKING:
    from django.template.context import Context

register = template.Library()

MM_PER_INCH = 25.4
# A template hands on "" for what is not there.
Figure: TypeAlias = float | str | None
NUMBER = (int, float)
NOT_KNOWN = "–"
NO_BREAK = "\N{NO-BREAK SPACE}"


def units_of(context: Context) -> str:
    """Units of the organisation the page is about, else of the one the reader works in."""
    shown = context.get("organisation")
    request = context.get("request")
    working = getattr(request, "organisation", None)
    return getattr(shown, "units", None) or getattr(working, "units", None) or "litres"


@register.filter
def within(text: str) -> str:
    """A name as it stands within a sentence: its first letter small, what is short for a word not."""
    return text[:1].lower() + text[1:]


@register.simple_tag(takes_context=True)
def volume(context: Context, litres: Figure) -> str:
    """Litres in the organisation's units, as `3,800 L`."""
    if not isinstance(litres, NUMBER):
        return NOT_KNOWN
    return volumes.spoken(litres, units_of(context)).replace(" ", NO_BREAK)


@register.simple_tag(takes_context=True)
def volume_unit(context: Context) -> str:
    """Name of the unit of volume, as for a label."""
    return volumes.UNIT_NAMES[units_of(context)]


@register.simple_tag(takes_context=True)
def depth(context: Context, mm: Figure) -> str:
    """Millimetres, or inches where the organisation counts in US gallons."""
    if not isinstance(mm, NUMBER):
        return NOT_KNOWN
    if units_of(context) == "us_gallons":
        return f"{mm / MM_PER_INCH:.1f}{NO_BREAK}in"
    return f"{mm:,.0f}{NO_BREAK}mm"


@register.filter
def metres(mm: Figure) -> str:
    """Millimetres as metres, for gates and lanes."""
    return f"{mm / 1000:.2f} m" if isinstance(mm, NUMBER) else NOT_KNOWN


@register.filter
def tonnes(kg: Figure) -> str:
    """Kilograms as tonnes, for bridges and tracks."""
    return f"{kg / 1000:.1f} t" if isinstance(kg, NUMBER) else NOT_KNOWN


@register.filter
def money(pence: Figure) -> str:
    """Pence as pounds, the minus of a refund before the sign."""
    if not isinstance(pence, NUMBER):
        return NOT_KNOWN
    return f"{'−' if pence < 0 else ''}£{abs(pence) / 100:,.2f}"


@register.filter
def percent(share: Figure) -> str:
    """Share of one as whole percent."""
    return f"{share * 100:.0f} %" if isinstance(share, NUMBER) else NOT_KNOWN


@register.filter
def day(value: dt.date | None) -> str:
    """Day as `25 Nov 2026`; a dash when unknown."""
    return date_format(value, "j M Y") if value else NOT_KNOWN


@register.simple_tag
def days_away(value: dt.date | None, today: dt.date) -> str:
    """How far a day lies from today, in words."""
    if not value:
        return ""
    distance = (value - today).days
    if distance == 0:
        return "today"
    words = span_in_words(abs(distance))
    return f"in {words}" if distance > 0 else f"{words} ago"


@register.filter
def span(days: Figure) -> str:
    """Days as the largest unit that says enough."""
    return span_in_words(round(days)) if isinstance(days, NUMBER) else NOT_KNOWN


def span_in_words(days: int) -> str:
    """Days, weeks, months or years: the largest unit that says enough."""
    for length, name in ((365, "year"), (30, "month"), (7, "week")):
        if days >= 2 * length:
            return f"{round(days / length)} {name}s"
    return "1 day" if days == 1 else f"{days} days"
