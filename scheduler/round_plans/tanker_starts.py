"""Tankers that begin a day loaded, because they came home loaded the time before."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from scheduler.models import Round, Stop
from scheduler.routing import problem as routing

from .clock import seconds_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scheduler.models import Tanker

# A load is not left standing longer than this: what came home before is held to be tipped.
LOOKED_BACK = dt.timedelta(days=7)


def starts_of(tankers: Sequence[Tanker], day: dt.date) -> tuple[routing.TankerStart, ...]:
    """Where tankers that may end loaded begin `day` with what is still on board."""
    found = []
    for tanker in tankers:
        last = _last_round(tanker, day) if tanker.may_end_loaded else None
        home = last.stops.order_by("-position").first() if last is not None else None
        if last is not None and home is not None and home.load_after_litres:
            found.append(
                routing.TankerStart(
                    tanker=str(tanker.public_id),
                    on=day,
                    latitude=tanker.base.latitude,
                    longitude=tanker.base.longitude,
                    at_seconds=seconds_of(tanker.shift_starts),
                    load_litres=home.load_after_litres,
                    loaded_wastes=_wastes(last),
                )
            )
    return tuple(found)


def _last_round(tanker: Tanker, day: dt.date) -> Round | None:
    before = Round.objects.filter(
        tanker=tanker, accepted_at__isnull=False, day__lt=day, day__gte=day - LOOKED_BACK
    )
    return before.order_by("-day").first()


def _wastes(planned: Round) -> tuple[str, ...]:
    """Kinds of system whose load has been taken on since the last tip."""
    tip = planned.stops.filter(kind=Stop.Kind.TIP).order_by("-position").first()
    since = planned.stops.filter(job__isnull=False, position__gt=tip.position if tip else -1)
    return tuple(sorted(set(since.values_list("job__system__kind", flat=True))))
