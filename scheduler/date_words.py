"""Dates that are only likely, said so that nobody takes them for promises."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.utils.formats import date_format
from django.utils.translation import gettext

if TYPE_CHECKING:
    from servicing.models import Forecast

MONTH, DAY = "F Y", "j F Y"


def likely_span(early: dt.date, late: dt.date | None, today: dt.date) -> str:
    """The span between two days in months: `between March and June 2027`.

    What has begun already begins `now`; without a late end it is `not before` the early one.
    """
    if late is None:
        return gettext("not before %(first)s") % {"first": date_format(early, MONTH)}
    if late <= today:
        return gettext("about now")
    last = date_format(late, MONTH)
    if early <= today:
        return gettext("between now and %(last)s") % {"last": last}
    if (early.year, early.month) == (late.year, late.month):
        return gettext("in %(month)s") % {"month": last}
    first = date_format(early, "F" if early.year == late.year else MONTH)
    return gettext("between %(first)s and %(last)s") % {"first": first, "last": last}


def next_emptying_words(forecast: Forecast | None, today: dt.date) -> str:
    """When the next emptying is likely, as told to an owner or on site; empty when not known.

    A longest interval that ends before the likely span is the day that counts, and is named.
    """
    if forecast is None or forecast.due_on is None:
        return ""
    ceiling, early = forecast.ceiling_on, forecast.removal_p10
    if ceiling is not None and (early is None or ceiling <= early):
        if ceiling <= today:
            return gettext("now: the longest time between emptyings allowed is up")
        by = gettext("by %(day)s, the longest time between emptyings allowed")
        return by % {"day": date_format(ceiling, DAY)}
    if early is None:
        return gettext("by %(day)s") % {"day": date_format(forecast.due_on, DAY)}
    late = forecast.removal_p90
    if ceiling is not None and (late is None or ceiling < late):
        late = ceiling
    return gettext("likely %(span)s") % {"span": likely_span(early, late, today)}
