"""Who drives and where they start and tip: bases, works and tankers."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from scheduler.routing.driver_hours import UNLIMITED, DriverHours
from scheduler.routing.errors import BadCoordinates, BadQuantity, BadTimes

DAY_SECONDS = 24 * 3600
LONGEST_DAY_SECONDS = 2 * DAY_SECONDS
DAYS_A_WEEK = 7


def require_on_globe(item: str, latitude: float, longitude: float) -> None:
    """Refuse a position that is not a place on the globe, or is the null position 0, 0."""
    for field, value, limit in (("latitude", latitude, 90.0), ("longitude", longitude, 180.0)):
        if not math.isfinite(value) or abs(value) > limit:
            message = f"{item}: {field} {value} is not between -{limit:g} and {limit:g}."
            raise BadCoordinates(message, item=item, field=field)
    if latitude == 0 and longitude == 0:
        message = f"{item}: latitude and longitude are both zero."
        raise BadCoordinates(message, item=item, field="latitude")


def require_not_negative(item: str, fields: Iterable[tuple[str, float | None]]) -> None:
    """Refuse a quantity below zero or not a number."""
    for field, value in fields:
        if value is not None and (not math.isfinite(value) or value < 0):
            message = f"{item}: {field} is {value}; it must be zero or more."
            raise BadQuantity(message, item=item, field=field)


@dataclass(frozen=True, kw_only=True, slots=True)
class Base:
    """Where tankers stand overnight."""

    id: str
    latitude: float
    longitude: float

    def __post_init__(self) -> None:
        """Check the position."""
        require_on_globe(self.id, self.latitude, self.longitude)


@dataclass(frozen=True, kw_only=True, slots=True)
class Works:
    """A treatment works where tankers tip; empty `accepts` takes every waste.

    Tipping, queue included, must both start and finish inside the opening hours. `hours`,
    when given, are those of each weekday from Monday on, None where it stays shut, and go
    before `opens_seconds` and `closes_seconds`.
    """

    id: str
    latitude: float
    longitude: float
    opens_seconds: int = 0
    closes_seconds: int = DAY_SECONDS
    tipping_seconds: int = 1200
    queue_seconds: int = 0
    charge_pence_per_visit: int = 0
    charge_pence_per_m3: int = 0
    closed_on: frozenset[date] = frozenset()
    accepts: frozenset[str] = frozenset()
    hours: tuple[tuple[int, int] | None, ...] = ()

    def __post_init__(self) -> None:
        """Check position, quantities and that a tip fits into the opening hours."""
        require_on_globe(self.id, self.latitude, self.longitude)
        require_not_negative(
            self.id,
            (
                ("opens_seconds", self.opens_seconds),
                ("tipping_seconds", self.tipping_seconds),
                ("queue_seconds", self.queue_seconds),
                ("charge_pence_per_visit", self.charge_pence_per_visit),
                ("charge_pence_per_m3", self.charge_pence_per_m3),
            ),
        )
        if len(self.hours) not in {0, DAYS_A_WEEK}:
            message = f"{self.id}: hours are those of seven weekdays, or of none."
            raise BadTimes(message, item=self.id, field="hours")
        given = [("closes_seconds", (self.opens_seconds, self.closes_seconds))]
        given += [("hours", each) for each in self.hours if each is not None]
        for field, (opens, closes) in given:
            if opens < 0 or closes < opens + self.service_seconds:
                message = f"{self.id}: closes before a tip begun at opening time would be over."
                raise BadTimes(message, item=self.id, field=field)

    @property
    def service_seconds(self) -> int:
        """Time from driving in to driving out."""
        return self.tipping_seconds + self.queue_seconds

    def is_open_on(self, day: date) -> bool:
        """Whether the works takes tankers on this day at all."""
        return day not in self.closed_on and self._hours_of(day) is not None

    def as_on(self, day: date) -> "Works":
        """The works with the hours of that day, which must be one it is open on."""
        hours = self._hours_of(day)
        if not self.hours or hours is None:
            return self
        return replace(self, opens_seconds=hours[0], closes_seconds=hours[1], hours=())

    def _hours_of(self, day: date) -> tuple[int, int] | None:
        if not self.hours:
            return self.opens_seconds, self.closes_seconds
        return self.hours[day.weekday()]

    def takes(self, wastes: Iterable[str]) -> bool:
        """Whether every one of these wastes may be tipped here."""
        return not self.accepts or all(waste in self.accepts for waste in wastes)


@dataclass(frozen=True, kw_only=True, slots=True)
class Worked:
    """What a tanker's driver did on a day before those to plan; breaks are not work."""

    on: date
    driving_seconds: int = 0
    work_seconds: int = 0

    def __post_init__(self) -> None:
        """Refuse time below zero."""
        given = (("driving_seconds", self.driving_seconds), ("work_seconds", self.work_seconds))
        require_not_negative(f"work on {self.on}", given)


@dataclass(frozen=True, kw_only=True, slots=True)
class Tanker:
    """A tanker and its driver's day. None means no limit is known.

    The round starts no earlier than `shift_start_seconds` and is back at base no later than
    `shift_end_seconds + overtime_seconds`. Duty beyond `max_duty_seconds` (the length of the
    shift when None) is overtime: at most `overtime_seconds` of it, at
    `overtime_pence_per_hour` on top of `pence_per_hour`. The break, if any, must start
    between `break_from_seconds` and `break_until_seconds`. `max_week_work_seconds` is the
    operator's own limit from Monday to Sunday, beside the regime's; `worked_before` is what
    counts towards weekly limits already.
    """

    id: str
    base: str
    capacity_litres: int
    shift_start_seconds: int = 7 * 3600
    shift_end_seconds: int = 16 * 3600 + 1800
    max_duty_seconds: int | None = None
    overtime_seconds: int = 0
    overtime_pence_per_hour: int = 0
    pence_per_km: int = 0
    pence_per_hour: int = 0
    fixed_pence_per_day: int = 0
    off: frozenset[date] = frozenset()
    width_m: float | None = None
    height_m: float | None = None
    gross_tonnes: float | None = None
    hose_m: float | None = None
    break_seconds: int = 0
    break_from_seconds: int = 11 * 3600 + 1800
    break_until_seconds: int = 13 * 3600 + 1800
    driver_hours: DriverHours = UNLIMITED
    may_end_loaded: bool = False
    wastes: frozenset[str] = frozenset()
    max_litres_per_day: int | None = None
    max_jobs_per_day: int | None = None
    max_week_work_seconds: int | None = None
    worked_before: tuple[Worked, ...] = ()

    def __post_init__(self) -> None:
        """Check quantities, the shift and the break."""
        if self.capacity_litres <= 0:
            message = (
                f"{self.id}: capacity_litres is {self.capacity_litres}; it must be above zero."
            )
            raise BadQuantity(message, item=self.id, field="capacity_litres")
        numbers = [
            "max_duty_seconds",
            "overtime_seconds",
            "overtime_pence_per_hour",
            "pence_per_km",
            "pence_per_hour",
            "fixed_pence_per_day",
            "width_m",
            "height_m",
            "gross_tonnes",
            "hose_m",
            "break_seconds",
            "shift_start_seconds",
            "max_litres_per_day",
            "max_jobs_per_day",
            "max_week_work_seconds",
        ]
        require_not_negative(self.id, ((name, getattr(self, name)) for name in numbers))
        self._require_sensible_times()

    def _require_sensible_times(self) -> None:
        if not self.shift_start_seconds < self.shift_end_seconds <= LONGEST_DAY_SECONDS:
            message = f"{self.id}: the shift must end after it starts."
            raise BadTimes(message, item=self.id, field="shift_end_seconds")
        if self.break_seconds and self.break_until_seconds < self.break_from_seconds:
            message = f"{self.id}: the break must end after it starts."
            raise BadTimes(message, item=self.id, field="break_until_seconds")

    @property
    def duty_seconds(self) -> int:
        """Paid duty before overtime begins."""
        if self.max_duty_seconds is None:
            return self.shift_end_seconds - self.shift_start_seconds
        return self.max_duty_seconds

    @property
    def longest_duty_seconds(self) -> int:
        """Duty that may never be passed: overtime included, driver hours respected."""
        longest = self.duty_seconds + self.overtime_seconds
        if self.driver_hours.max_duty_seconds is not None:
            longest = min(longest, self.driver_hours.max_duty_seconds)
        return longest

    @property
    def latest_end_seconds(self) -> int:
        """Time of day by which the tanker must be back at base, with its daily rest to come."""
        latest = self.shift_end_seconds + self.overtime_seconds
        if self.driver_hours.daily_rest_seconds is None:
            return latest
        rest_from = self.shift_start_seconds + DAY_SECONDS - self.driver_hours.daily_rest_seconds
        return min(latest, rest_from)

    def takes(self, waste: str) -> bool:
        """Whether this tanker may carry the waste."""
        return not self.wastes or waste in self.wastes
