"""What drivers did on the days before those to plan: it counts towards their weeks."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from typing import TYPE_CHECKING

from django.db.models import Prefetch

from scheduler.models import Round, Stop
from scheduler.routing.fleet import Worked

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from scheduler.models import Tanker

# The longest span over which work is averaged.
WEEKS_BACK = 17


def worked_before(tankers: Iterable[Tanker], first_day: dt.date) -> dict[int, tuple[Worked, ...]]:
    """Driving and work of accepted rounds before `first_day`, by key of the tanker.

    As planned: a driver's own record decides, this is an aid to planning.
    """
    rounds = Round.objects.filter(
        tanker__in=list(tankers),
        accepted_at__isnull=False,
        day__lt=first_day,
        day__gte=first_day - dt.timedelta(weeks=WEEKS_BACK),
    ).prefetch_related(Prefetch("stops", queryset=Stop.objects.order_by("position")))
    found: dict[int, tuple[Worked, ...]] = {}
    for row in rounds.order_by("day"):
        stops = list(row.stops.all())
        if stops:
            found[row.tanker_id] = (*found.get(row.tanker_id, ()), _worked(row.day, stops))
    return found


def _worked(day: dt.date, stops: Sequence[Stop]) -> Worked:
    pairs = pairwise(stops)
    driving = sum((after.arrive_at - before.depart_at).total_seconds() for before, after in pairs)
    breaks = sum(
        (stop.depart_at - stop.start_at).total_seconds()
        for stop in stops
        if stop.kind == Stop.Kind.BREAK
    )
    duty = (stops[-1].arrive_at - stops[0].depart_at).total_seconds()
    return Worked(
        on=day,
        driving_seconds=max(round(driving), 0),
        work_seconds=max(round(duty - breaks), 0),
    )
