"""The operator's wall clock: what planners, drivers and opening hours are written in."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Self
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from customers.models import Organisation

QUARTER = 15 * 60
LAST_SECOND = 24 * 3600 - 1


@dataclass(frozen=True)
class LocalClock:
    """Local days and seconds after midnight by the wall clock, to and from UTC.

    On the two days a year on which clocks change, 07:00 is still 07:00: seconds are counted
    by the clock on the wall, not by what has gone by since midnight. Inside the hour that is
    skipped or repeated (between 01:00 and 02:00 in Europe) nobody plans a round.
    """

    zone: ZoneInfo

    @classmethod
    def of(cls, organisation: Organisation) -> Self:
        """Clock in the office of `organisation`."""
        return cls(ZoneInfo(organisation.time_zone))

    def moment(self, day: dt.date, seconds: int) -> dt.datetime:
        """UTC moment of a wall-clock time, in seconds after local midnight of `day`."""
        naive = dt.datetime.combine(day, dt.time()) + dt.timedelta(seconds=seconds)
        return naive.replace(tzinfo=self.zone).astimezone(dt.UTC)

    def local(self, moment: dt.datetime) -> dt.datetime:
        """Naive local time of an aware moment."""
        return moment.astimezone(self.zone).replace(tzinfo=None)

    def day_of(self, moment: dt.datetime) -> dt.date:
        """Local day of an aware moment."""
        return self.local(moment).date()

    def seconds(self, moment: dt.datetime, day: dt.date) -> int:
        """Wall-clock seconds of `moment` after local midnight of `day`."""
        return int((self.local(moment) - dt.datetime.combine(day, dt.time())).total_seconds())

    def span(self, first_day: dt.date, last_day: dt.date) -> tuple[dt.datetime, dt.datetime]:
        """Half-open span of UTC moments that covers the local days, both included."""
        return self.moment(first_day, 0), self.moment(last_day + dt.timedelta(days=1), 0)


def seconds_of(time: dt.time) -> int:
    """Seconds after midnight."""
    return time.hour * 3600 + time.minute * 60 + time.second


def arrival_span(
    start_seconds: int, *, within: tuple[int, int], either_side_minutes: int
) -> tuple[int, int]:
    """Hours told to the owner around a planned start: whole quarters, inside the shift.

    Args:
        start_seconds: planned start of the work, seconds after midnight.
        within: start and end of the shift, seconds after midnight.
        either_side_minutes: how much earlier and later than planned we may come.

    Returns:
        From and until, seconds after midnight, each a multiple of 15 minutes where the shift
        allows it; the planned start is always inside and the span is never empty.
    """
    opens, closes = within
    side = either_side_minutes * 60
    earliest = max((start_seconds - side) // QUARTER * QUARTER, min(opens, start_seconds))
    latest = -(-(start_seconds + side) // QUARTER) * QUARTER
    latest = max(min(latest, closes), -(-(start_seconds + 1) // QUARTER) * QUARTER)
    return earliest, latest
