"""Dates that are only likely, said so that nobody takes them for promises."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.utils.formats import date_format

if TYPE_CHECKING:
    from servicing.models import Forecast

MONTH = "F Y"


def likely_span(early: dt.date, late: dt.date | None, today: dt.date) -> str:
    """The span between two days in months: `between March and June 2027`.

    What has begun already begins `now`; without a late end it is `not before` the early one.
    """
    if late is None:
        return f"not before {date_format(early, MONTH)}"
    if late <= today:
        return "about now"
    if early <= today:
        return f"between now and {date_format(late, MONTH)}"
    if (early.year, early.month) == (late.year, late.month):
        return f"in {date_format(early, MONTH)}"
    first = date_format(early, "F" if early.year == late.year else MONTH)
    return f"between {first} and {date_format(late, MONTH)}"


def next_emptying_words(forecast: Forecast | None, today: dt.date) -> str:
    """When the next emptying is likely, as told to an owner or on site; empty when not known.

    A longest interval that ends before the likely span is the day that counts, and is named.
    """
    if forecast is None or forecast.due_on is None:
        return ""
    ceiling, early = forecast.ceiling_on, forecast.removal_p10
    if ceiling is not None and (early is None or ceiling <= early):
        if ceiling <= today:
            return "now: the longest time between emptyings allowed is up"
        return f"by {date_format(ceiling, 'j F Y')}, the longest time between emptyings allowed"
    if early is None:
        return f"by {date_format(forecast.due_on, 'j F Y')}"
    late = forecast.removal_p90
    if ceiling is not None and (late is None or ceiling < late):
        late = ceiling
    return f"likely {likely_span(early, late, today)}"
