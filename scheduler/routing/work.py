"""What is to be done: jobs, their promised windows and where each tanker stands now."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from scheduler.routing.errors import BadDates, BadQuantity, BadTimes
from scheduler.routing.fleet import DAY_SECONDS, require_not_negative, require_on_globe


def seconds_of_day(moment: datetime) -> int:
    """Seconds from local midnight to a naive local time."""
    return moment.hour * 3600 + moment.minute * 60 + moment.second


@dataclass(frozen=True, kw_only=True, slots=True)
class Window:
    """A promised window in local time: the work must start inside it, ends included."""

    start: datetime
    end: datetime

    def __post_init__(self) -> None:
        """Refuse zones, windows over midnight and windows that end before they start."""
        if self.start.tzinfo is not None or self.end.tzinfo is not None:
            raise BadTimes("A window is in local time, without a zone.", field="windows")
        if self.end < self.start or self.start.date() != self.end.date():
            message = f"The window {self.start:%Y-%m-%d %H:%M} must end later on the same day."
            raise BadTimes(message, field="windows")

    @property
    def day(self) -> date:
        """The local day of the window."""
        return self.start.date()

    @property
    def from_seconds(self) -> int:
        """Start, in seconds after midnight."""
        return seconds_of_day(self.start)

    @property
    def until_seconds(self) -> int:
        """End, in seconds after midnight."""
        return seconds_of_day(self.end)


@dataclass(frozen=True, kw_only=True, slots=True)
class Job:
    """One visit of a tanker: so many litres, so long on site, on a day that may be chosen.

    A required job is left out only when nothing else is possible; an optional one is done
    when its `value_pence` is more than it costs. `earliest` and `latest` are hard and
    inclusive; after `due` each day costs `late_pence_per_day`, before it each day costs
    `early_pence_per_day`; `day_cost_pence` adds whatever a day costs besides (the risk of
    waiting, from the forecast) and `move_pence` keeps it where it is planned. Windows, when given, are the only times the job may start.
    """

    id: str
    latitude: float
    longitude: float
    litres: int
    service_seconds: int
    litres_sd: float = 0.0
    earliest: date | None = None
    due: date | None = None
    latest: date | None = None
    windows: tuple[Window, ...] = ()
    day_from_seconds: int = 0
    day_until_seconds: int = DAY_SECONDS
    required: bool = False
    value_pence: int = 0
    late_pence_per_day: int = 0
    early_pence_per_day: int = 0
    day_cost_pence: Mapping[date, int] = field(default_factory=dict)
    max_width_m: float | None = None
    max_height_m: float | None = None
    max_tonnes: float | None = None
    hose_needed_m: float | None = None
    waste: str = ""
    may_split: bool = False
    part_of: str = ""
    locked_tanker: str | None = None
    locked_on: date | None = None
    planned_tanker: str | None = None
    planned_on: date | None = None
    move_pence: int = 0
    hold_reason: str = ""

    def __post_init__(self) -> None:
        """Check quantities, dates and times; a null position is left to the screening."""
        if not (self.latitude == 0 and self.longitude == 0):
            require_on_globe(self.id, self.latitude, self.longitude)
        numbers = [
            "litres",
            "service_seconds",
            "litres_sd",
            "value_pence",
            "late_pence_per_day",
            "early_pence_per_day",
            "max_width_m",
            "max_height_m",
            "max_tonnes",
            "hose_needed_m",
        ]
        require_not_negative(self.id, ((name, getattr(self, name)) for name in numbers))
        if any(not math.isfinite(pence) or pence < 0 for pence in self.day_cost_pence.values()):
            message = f"{self.id}: day_cost_pence must be zero or more on every day."
            raise BadQuantity(message, item=self.id, field="day_cost_pence")
        if self.earliest and self.latest and self.latest < self.earliest:
            message = f"{self.id}: latest {self.latest} is before earliest {self.earliest}."
            raise BadDates(message, item=self.id, field="latest")
        if self.day_until_seconds < self.day_from_seconds:
            message = f"{self.id}: the daily hours must end after they start."
            raise BadTimes(message, item=self.id, field="day_until_seconds")

    def day_pence(self, day: date) -> int:
        """What doing the job on this day costs beyond driving: lateness, earliness, risk."""
        pence = self.day_cost_pence.get(day, 0)
        if self.due is not None:
            days_late = (day - self.due).days
            pence += max(days_late, 0) * self.late_pence_per_day
            pence += max(-days_late, 0) * self.early_pence_per_day
        return pence

    def move_cost(self, tanker: str, day: date) -> int:
        """What it costs to move the job off the tanker or day it is planned for."""
        other_tanker = self.planned_tanker is not None and tanker != self.planned_tanker
        other_day = self.planned_on is not None and day != self.planned_on
        return self.move_pence if other_tanker or other_day else 0

    def start_windows(self, day: date) -> tuple[tuple[int, int], ...]:
        """When the work may start on this day, in seconds after midnight; empty if never."""
        if (
            (self.earliest is not None and day < self.earliest)
            or (self.latest is not None and day > self.latest)
            or (self.locked_on is not None and day != self.locked_on)
        ):
            return ()
        opens, closes = self.day_from_seconds, self.day_until_seconds
        if not self.windows:
            return ((opens, closes),)
        clipped = (
            (max(window.from_seconds, opens), min(window.until_seconds, closes))
            for window in self.windows
            if window.day == day
        )
        return tuple(sorted(window for window in clipped if window[0] <= window[1]))


@dataclass(frozen=True, kw_only=True, slots=True)
class TankerStart:
    """Where a tanker stands, and how full, at the moment its day (or its rest) begins."""

    tanker: str
    on: date
    latitude: float
    longitude: float
    at_seconds: int
    load_litres: int = 0
    loaded_wastes: tuple[str, ...] = ()
    driven_seconds: int = 0
    driven_since_break_seconds: int = 0
    on_duty_since_seconds: int | None = None
    worked_since_seconds: int | None = None
    break_taken: bool = False
    litres_today: int = 0
    jobs_today: int = 0

    def __post_init__(self) -> None:
        """Check position and quantities."""
        require_on_globe(self.tanker, self.latitude, self.longitude)
        names = [
            "at_seconds",
            "load_litres",
            "driven_seconds",
            "driven_since_break_seconds",
            "litres_today",
            "jobs_today",
        ]
        require_not_negative(self.tanker, ((name, getattr(self, name)) for name in names))

    def on_duty_from(self, leaves: int) -> int:
        """When duty began today: as told, or when the tanker leaves."""
        return leaves if self.on_duty_since_seconds is None else self.on_duty_since_seconds

    @property
    def place_id(self) -> str:
        """Id of this position among the places of the problem."""
        return f"start of {self.tanker} on {self.on.isoformat()}"
