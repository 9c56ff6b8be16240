"""Words in a frame: the state of a job, how near a day is. The word carries the meaning."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django import template
from django.utils.html import format_html

from scheduler.templatetags.units import span_in_words

if TYPE_CHECKING:
    from django.utils.safestring import SafeString

    from scheduler.models import Job
    from servicing.models import Forecast

register = template.Library()

STATE_LOOKS = {
    "wanted": "soon",
    "offered": "note",
    "agreed": "calm",
    "under_way": "note",
    "done": "calm",
    "abandoned": "over",
    "withdrawn": "ended",
}
SOON_DAYS = 60


def tag(look: str, word: str) -> SafeString:
    """Framed word; the look is one of calm, soon, over, note, ended."""
    return format_html('<span class="tag tag-{}">{}</span>', look, word)


@register.simple_tag
def state_tag(job: Job) -> SafeString:
    """State of a job in its own word."""
    return tag(STATE_LOOKS[job.state], job.get_state_display())


@register.simple_tag
def due_tag(due_on: dt.date | None, today: dt.date) -> SafeString:
    """How near a due day is: overdue, due within two months, or later; or not known."""
    if not due_on:
        return tag("ended", "Not known")
    days = (due_on - today).days
    if days < 0:
        return tag("over", f"Overdue by {span_in_words(-days)}")
    if days == 0:
        return tag("over", "Due today")
    words = f"Due in {span_in_words(days)}"
    return tag("soon" if days <= SOON_DAYS else "calm", words)


@register.simple_tag
def forecast_tag(forecast: Forecast | None, today: dt.date) -> SafeString:
    """How near the removal of a forecast is."""
    return due_tag(forecast.due_on if forecast else None, today)
