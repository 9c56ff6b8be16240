"""A job's row, its place and its promise become a job of the planner."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypedDict

from scheduler.models import Job
from scheduler.routing import problem as routing
from scheduler.routing.litres import planned_litres
from servicing.models import System, Tank

from .clock import LAST_SECOND, LocalClock
from .job_choice import standing_appointment
from .worth import may_not_wait, worth_of

if TYPE_CHECKING:
    from scheduler.models import Appointment

    from .prices import Prices
    from .settings import PlanSettings

MM = 1000
# `Job.litres_high` is what nine jobs in ten do not exceed; the standard normal's 90 % point.
NINE_IN_TEN = 1.281552
SATURATED = (
    "the ground is saturated: an empty plastic tank may float. Wait, or take out only a part."
)
Lock = tuple[str, dt.date]


@dataclass(frozen=True, kw_only=True)
class Horizon:
    """The days planned, which of them are worked, and by whose clock."""

    days: tuple[dt.date, ...]
    idle: frozenset[dt.date]
    clock: LocalClock

    @property
    def first_worked(self) -> dt.date:
        """The first day on which somebody drives; the first day at all where nobody does."""
        return next((day for day in self.days if day not in self.idle), self.days[0])


def job_for_planner(
    row: Job,
    *,
    horizon: Horizon,
    settings: PlanSettings,
    prices: Prices,
    lock: Lock | None,
    largest: int,
) -> routing.Job:
    """One job; whatever forbids planning it becomes the reason it is left out with."""
    name = str(row.public_id)
    promise = None if name in settings.promises_open else standing_appointment(row)
    windows, hold = _promised(promise, horizon)
    worth = worth_of(row, horizon.days, prices)
    litres = litres_planned(row, settings.litres_quantile)
    count = settings.visits.get(name)
    split = count > 1 if count else settings.split_large and litres > largest
    tied = bool(windows) or lock is not None
    return routing.Job(
        id=name,
        latitude=row.system.latitude or 0.0,
        longitude=row.system.longitude or 0.0,
        litres=litres,
        litres_sd=spread_of(row),
        service_seconds=row.minutes * 60,
        earliest=row.earliest,
        due=row.due_on,
        latest=_last_day(row, horizon),
        windows=windows,
        required=tied or _all_or_none(row, horizon, split=split),
        value_pence=worth.value_pence,
        day_cost_pence=worth.day_cost_pence,
        waste=row.system.kind,
        may_split=split,
        locked_tanker=lock[0] if lock and not split else None,
        locked_on=_day_tied_to(lock, horizon, split=split and not windows),
        hold_reason=_nowhere(row) or hold or _saturated(row, settings),
        **_way_in(row),
    )


def _nowhere(row: Job) -> str:
    if row.system.latitude is None or row.system.longitude is None:
        return "its position is not known: point at its lid on the map of its premises."
    return ""


class WayIn(TypedDict):
    """What limits the tanker that can get to a job; None where nothing is known to."""

    max_width_m: float | None
    max_height_m: float | None
    max_tonnes: float | None
    hose_needed_m: float | None


def _way_in(row: Job) -> WayIn:
    """What limits the tanker that can get there."""
    premises = row.system.premises
    return {
        "max_width_m": _in_metres(premises.gate_width_mm),
        "max_height_m": _in_metres(premises.height_limit_mm),
        "max_tonnes": _in_metres(premises.weight_limit_kg),
        "hose_needed_m": premises.hose_run_m,
    }


def _last_day(row: Job, horizon: Horizon) -> dt.date | None:
    """The last day it may be done; one that has gone by forbids nothing: late beats never."""
    return row.latest if row.latest is not None and row.latest >= horizon.days[0] else None


def _all_or_none(row: Job, horizon: Horizon, *, split: bool) -> bool:
    """Whether it must be planned. Of a job cut up, one visit without the other is worth nothing."""
    last = horizon.days[-1]
    return (split and row.due_on <= last) or may_not_wait(row, last)


def _day_tied_to(lock: Lock | None, horizon: Horizon, *, split: bool) -> dt.date | None:
    """Its locked day; the visits to a job cut up are all made on one day, the first worked."""
    if lock and lock[1] in horizon.days:
        return lock[1]
    return horizon.first_worked if split else None


def litres_planned(row: Job, quantile: float | None) -> int:
    """Litres to keep room for: what is expected, or what that share of jobs does not exceed."""
    if quantile is None:
        return row.litres
    return planned_litres(row.litres, spread_of(row), quantile)


def spread_of(row: Job) -> float:
    """Standard deviation of the litres: of the log-normal that has their mean and nine-in-ten."""
    if row.litres <= 0 or row.litres_high <= row.litres:
        return 0.0
    # ln(high / mean) = z s - s²/2, of which s is the smaller root.
    root = max(NINE_IN_TEN**2 - 2 * math.log(row.litres_high / row.litres), 0.0)
    return row.litres * math.sqrt(math.expm1((NINE_IN_TEN - math.sqrt(root)) ** 2))


def _saturated(row: Job, settings: PlanSettings) -> str:
    """Why a plastic tank is not emptied whole while the ground is full of water."""
    if not settings.ground_saturated or row.kind != Job.Kind.EMPTYING:
        return ""
    if row.system.kind == System.Kind.GREASE_TRAP:
        return ""
    plastic = any(tank.material == Tank.Material.PLASTIC for tank in row.system.tanks.all())
    return SATURATED if plastic else ""


def _in_metres(thousandths: int | None) -> float | None:
    return None if thousandths is None else thousandths / MM


def _promised(
    promise: Appointment | None, horizon: Horizon
) -> tuple[tuple[routing.Window, ...], str]:
    """The promised hours as a window, or why the job cannot be planned on these days."""
    if promise is None:
        return (), ""
    starts = horizon.clock.local(promise.starts_at)
    ends = horizon.clock.local(promise.ends_at)
    if not horizon.days[0] <= starts.date() <= horizon.days[-1]:
        word = "agreed" if promise.agreed_at else "offered"
        return (), f"it is {word} for {starts:%d %B %Y}, which is not one of these days."
    midnight = dt.datetime.combine(starts.date(), dt.time())
    ends = min(ends, midnight + dt.timedelta(seconds=LAST_SECOND))
    return (routing.Window(start=starts, end=ends),), ""
