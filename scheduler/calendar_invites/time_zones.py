"""VTIMEZONE components written as yearly rules, worked out from the time zone database.

Every onset stands in the wall clock in force just before it, as RFC 5545 §3.6.5 asks, and every
rule names a weekday, because some calendars read neither lists of dates nor rules without BYDAY.
"""

import calendar
import functools
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard, vRecur

FIRST_YEAR = 1970
LAST_YEAR = 2060
# A rule must hold in each of the last years looked at, or it is not the rule in force.
MUST_HOLD_FROM = 2024
WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - a wall-clock time by design


@dataclass(frozen=True, slots=True)
class Onset:
    """One change of offset: the wall clock before it, and the offsets on both sides."""

    wall: datetime
    before: timedelta
    after: timedelta
    name: str


@dataclass(frozen=True, slots=True)
class Observance:
    """One STANDARD or DAYLIGHT component: its first onset and the rule that repeats it."""

    first: Onset
    rule: tuple[tuple[str, str], ...]

    @property
    def is_daylight(self) -> bool:
        return self.first.after > self.first.before


@functools.cache
def vtimezone(zone: str) -> Timezone | None:
    """The VTIMEZONE of a zone, or None where no yearly rule tells its changes.

    None means: write this zone's times in UTC, which every calendar reads.
    """
    observances = yearly_observances(zone)
    if observances is None:
        return None
    component = Timezone()
    component.add("TZID", zone)
    for observance in observances:
        component.add_component(_observance_component(observance))
    return component


@functools.cache
def yearly_observances(zone: str) -> tuple[Observance, ...] | None:
    """The rules in force in a zone now, each begun as early as it reproduces tzdata."""
    onsets = _onsets(ZoneInfo(zone))
    current = [o for o in onsets if o.wall.year >= MUST_HOLD_FROM]
    if not current:
        return (_fixed(zone, onsets),)
    if len(current) != 2 * (LAST_YEAR - MUST_HOLD_FROM):
        return None
    found = []
    for later in (True, False):
        family = [o for o in onsets if (o.after > o.before) is later]
        observance = _longest_rule(family)
        if observance is None:
            return None
        found.append(observance)
    return tuple(found)


def _fixed(zone: str, onsets: list[Onset]) -> Observance:
    if onsets:
        return Observance(onsets[-1], ())
    always = EPOCH.replace(tzinfo=ZoneInfo(zone))
    offset = always.utcoffset() or timedelta()
    return Observance(Onset(EPOCH, offset, offset, always.tzname() or ""), ())


def _onsets(zone: ZoneInfo) -> list[Onset]:
    found = []
    day = datetime(FIRST_YEAR, 1, 1, tzinfo=UTC)
    end = datetime(LAST_YEAR, 1, 1, tzinfo=UTC)
    while day < end:
        following = day + timedelta(days=1)
        if _offset(zone, day) != _offset(zone, following):
            found.append(_onset_between(zone, day, following))
        day = following
    return found


def _onset_between(zone: ZoneInfo, low: datetime, high: datetime) -> Onset:
    before = _offset(zone, low)
    while high - low > timedelta(seconds=1):
        middle = low + timedelta(seconds=(high - low) // timedelta(seconds=1) // 2)
        low, high = (middle, high) if _offset(zone, middle) == before else (low, middle)
    wall = (high + before).replace(tzinfo=None)
    return Onset(wall, before, _offset(zone, high), high.astimezone(zone).tzname() or "")


def _offset(zone: ZoneInfo, instant: datetime) -> timedelta:
    return instant.astimezone(zone).utcoffset() or timedelta()


def _longest_rule(family: list[Onset]) -> Observance | None:
    best: Observance | None = None
    best_length = 0
    for rule in _candidate_rules(family[-1].wall.date()):
        length = _years_followed(family, rule)
        if length > best_length:
            best, best_length = Observance(family[-length], rule), length
    if best is None or best.first.wall.year > MUST_HOLD_FROM:
        return None
    return best


def _candidate_rules(example: date) -> list[tuple[tuple[str, str], ...]]:
    month, weekday = str(example.month), WEEKDAYS[example.weekday()]
    nth = (example.day - 1) // 7 + 1
    orders = ["-1", *([str(nth)] if nth < 5 else [])]
    rules: list[tuple[tuple[str, str], ...]] = [
        (("BYMONTH", month), ("BYDAY", order + weekday)) for order in orders
    ]
    last_start = calendar.monthrange(example.year, example.month)[1] - 6
    for start in range(max(1, example.day - 6), min(example.day, last_start) + 1):
        window = ",".join(str(day) for day in range(start, start + 7))
        rules.append((("BYMONTH", month), ("BYDAY", weekday), ("BYMONTHDAY", window)))
    return rules


def _years_followed(family: list[Onset], rule: tuple[tuple[str, str], ...]) -> int:
    """How many of the latest onsets, counted back without a gap, the rule reproduces."""
    latest = family[-1]
    followed = 0
    for back, onset in enumerate(reversed(family)):
        expected = _day_by_rule(latest.wall.year - back, rule)
        same_change = (onset.before, onset.after) == (latest.before, latest.after)
        if not same_change or onset.wall != datetime.combine(expected, latest.wall.time()):
            break
        followed += 1
    return followed


def _day_by_rule(year: int, rule: tuple[tuple[str, str], ...]) -> date:
    parts = dict(rule)
    month = int(parts["BYMONTH"])
    weekday = WEEKDAYS.index(parts["BYDAY"][-2:])
    days = [
        date(year, month, day)
        for day in range(1, calendar.monthrange(year, month)[1] + 1)
        if date(year, month, day).weekday() == weekday
    ]
    if "BYMONTHDAY" in parts:
        allowed = {int(day) for day in parts["BYMONTHDAY"].split(",")}
        return next(day for day in days if day.day in allowed)
    order = int(parts["BYDAY"][:-2])
    return days[order if order < 0 else order - 1]


def _observance_component(observance: Observance) -> TimezoneStandard | TimezoneDaylight:
    first = observance.first
    component = TimezoneDaylight() if observance.is_daylight else TimezoneStandard()
    component.add("DTSTART", first.wall)
    component.add("TZOFFSETFROM", first.before)
    component.add("TZOFFSETTO", first.after)
    component.add("TZNAME", first.name)
    if observance.rule:
        parts = {name: value.split(",") for name, value in observance.rule}
        component.add("RRULE", vRecur({"FREQ": ["YEARLY"], **parts}))
    return component
