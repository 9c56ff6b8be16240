"""When a system that was emptied fills again."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from servicing.models import Forecast

# A system that would fill faster is a fault to look into, not a round to plan.
SHORTEST_INTERVAL_DAYS = 7


def falls_due_again(row: Forecast, emptied: dt.date, until: dt.date) -> Iterator[dt.date]:
    """Days on which a system falls due again before `until`, by the interval of its forecast."""
    if row.since is None or row.due_on is None:
        return
    interval = dt.timedelta(days=max((row.due_on - row.since).days, SHORTEST_INTERVAL_DAYS))
    day = emptied + interval
    while day < until:
        yield day
        day += interval
