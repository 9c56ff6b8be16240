"""When somebody may be written to: by day where they live, and not on a bank holiday."""

import functools
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import holidays


@dataclass(frozen=True, slots=True)
class Hours:
    """From when to when on a local day somebody may be written to."""

    begin: time
    end: time


USUAL_HOURS = Hours(time(8), time(20))
# Reminders leave at nine: people are up, and no clock change in any zone touches the hour.
REMINDERS_LEAVE = time(9)
LONGEST_RUN_OF_HOLIDAYS = 14


@functools.lru_cache(maxsize=64)
def _holidays_of(region: str) -> holidays.HolidayBase:
    country, _, part = region.partition("-")
    return holidays.country_holidays(country, subdiv=part or None)


def is_bank_holiday(day: date, region: str) -> bool:
    """Whether a day is a public holiday in a region such as GB-SCT; an empty region has none.

    Source: the `holidays` package, which cites each country's law.
    """
    return bool(region) and day in _holidays_of(region)


def working_days_between(first: date, last: date, region: str) -> int:
    """Whole working days after `first` and before `last`: neither weekend nor bank holiday."""
    days = (first + timedelta(days=one) for one in range(1, (last - first).days))
    return sum(day.weekday() < 5 and not is_bank_holiday(day, region) for day in days)


def is_quiet(moment: datetime, *, zone: str, region: str, hours: Hours = USUAL_HOURS) -> bool:
    """Whether nothing may be sent at this moment to somebody in this zone and region."""
    local = moment.astimezone(ZoneInfo(zone))
    awake = hours.begin <= local.time() < hours.end
    return not awake or is_bank_holiday(local.date(), region)


def next_waking_moment(
    moment: datetime, *, zone: str, region: str, hours: Hours = USUAL_HOURS
) -> datetime:
    """The moment itself where it is not quiet, or else the next local morning that is not."""
    if not is_quiet(moment, zone=zone, region=region, hours=hours):
        return moment
    local = moment.astimezone(ZoneInfo(zone))
    first = local.date() + timedelta(days=local.time() >= hours.begin)
    return _opening(first, hours.begin, zone, region)


def reminder_moment(day: date, *, zone: str, region: str, hours: Hours = USUAL_HOURS) -> datetime:
    """The moment at which what is to be said on a day leaves, in UTC."""
    leaves = max(hours.begin, min(REMINDERS_LEAVE, hours.end))
    return _opening(day, leaves, zone, region)


def _opening(first: date, hour: time, zone: str, region: str) -> datetime:
    for later in range(LONGEST_RUN_OF_HOLIDAYS):
        day = first + timedelta(days=later)
        if not is_bank_holiday(day, region):
            break
    else:
        msg = f"{region} has no working day in the fortnight from {first}"
        raise ValueError(msg)
    return datetime.combine(day, hour, tzinfo=ZoneInfo(zone)).astimezone(UTC)
