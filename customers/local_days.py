"""Days and hours as people at a place live them."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.utils import timezone

if TYPE_CHECKING:
    from customers.models import Organisation, Premises


def zone_of(organisation: Organisation) -> ZoneInfo:
    """Time zone in which the organisation works."""
    return ZoneInfo(organisation.time_zone)


def zone_at(premises: Premises) -> ZoneInfo:
    """Time zone of a place."""
    return ZoneInfo(premises.zone_name)


def local_today(organisation: Organisation, now: dt.datetime | None = None) -> dt.date:
    """The date on the organisation's wall calendar."""
    return (now or timezone.now()).astimezone(zone_of(organisation)).date()


def at_local(day: dt.date, time: dt.time, zone: ZoneInfo) -> dt.datetime:
    """The moment at which clocks in `zone` show `time` on `day`.

    A time that does not exist in spring is an hour later on the clock; of two in autumn it is
    the first (PEP 495, fold=0).
    """
    return dt.datetime.combine(day, time, tzinfo=zone).astimezone(dt.UTC)


def day_span(day: dt.date, zone: ZoneInfo) -> tuple[dt.datetime, dt.datetime]:
    """Beginning and end of a local day, which may have 23 or 25 hours."""
    return (
        at_local(day, dt.time(0), zone),
        at_local(day + dt.timedelta(days=1), dt.time(0), zone),
    )
