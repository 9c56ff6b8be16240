"""Weekly limits for the search, which sees one day of one driver at a time.

A week that could hold more work than is allowed is shared out evenly over its days; what the
days then still come to together is looked at when the rounds are repaired.
"""

from datetime import date, timedelta

from scheduler.routing.fleet import Tanker
from scheduler.routing.problem import Problem

WEEKS_OF_THE_AVERAGE = 17


def longest_day_seconds(problem: Problem, tanker: Tanker, on: date) -> int:
    """Longest duty of a day, so that the week cannot come to more work than is allowed."""
    longest = tanker.longest_duty_seconds
    left = _work_left(tanker, on)
    if left is None:
        return longest
    working = sum(
        _can_work(problem, tanker, day) for day in problem.dates if _week(day) == _week(on)
    )
    if working == 0 or working * longest <= left:
        return longest
    return min(longest, max(left, 0) // working + tanker.break_seconds)


def _can_work(problem: Problem, tanker: Tanker, day: date) -> bool:
    somewhere_to_tip = tanker.may_end_loaded or bool(problem.works_open_on(day))
    return day not in tanker.off and somewhere_to_tip


def _week(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _work_left(tanker: Tanker, on: date) -> int | None:
    """Seconds of work the limits leave for the week, what was worked before counted in."""
    hours = tanker.driver_hours
    limits = [(1, tanker.max_week_work_seconds), (1, hours.max_week_work_seconds)]
    if hours.average_week_work_seconds is not None:
        total = hours.average_week_work_seconds * WEEKS_OF_THE_AVERAGE
        limits.append((WEEKS_OF_THE_AVERAGE, total))
    left = [
        limit - _worked(tanker, _week(on) - timedelta(weeks=weeks - 1), _week(on))
        for weeks, limit in limits
        if limit is not None
    ]
    return min(left, default=None)


def _worked(tanker: Tanker, first: date, last: date) -> int:
    """Work recorded from one week to another, both included."""
    return sum(
        past.work_seconds for past in tanker.worked_before if first <= _week(past.on) <= last
    )
