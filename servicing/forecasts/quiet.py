"""Spans in which no look into a chamber should fall due."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import holidays

from servicing.forecasting.chambers import QuietPeriod, winter_quiet_periods

if TYPE_CHECKING:
    from customers.models import CountryProfile

LOOK_AHEAD_YEARS = 3


def quiet_periods(profile: CountryProfile, *, today: dt.date) -> list[QuietPeriod]:
    """Spans in which nothing should fall due: bank holidays with their weekends, deep winter."""
    years = range(today.year, today.year + LOOK_AHEAD_YEARS + 1)
    days = holidays.country_holidays(
        profile.holidays_country, subdiv=profile.holidays_subdivision or None, years=years
    )
    found = [
        QuietPeriod(day - dt.timedelta(days=3), day + dt.timedelta(days=3), name)
        for day, name in days.items()
    ]
    return found + winter_quiet_periods(today.year - 1, today.year + LOOK_AHEAD_YEARS)
