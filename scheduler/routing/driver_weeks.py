"""The checker's part on weeks: driving, work and rest of a driver over several days.

Like the rest of the checker it looks at the stops alone and shares no code with the planner.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from itertools import pairwise
from typing import NamedTuple

from scheduler.routing.problem import Problem, Tanker
from scheduler.routing.rounds import Breach, Round

DAY_SECONDS = 86_400
REFERENCE_WEEKS = 17  # of the average, Road Transport (Working Time) Regulations 2005, reg. 4


class _Limit(NamedTuple):
    """So many seconds in so many consecutive weeks."""

    rule: str
    told: str
    weeks: int
    seconds: int | None


def week_breaches(
    problem: Problem, rounds: Iterable[Round], tankers: Iterable[str] | None = None
) -> list[Breach]:
    """Every limit over a week or more, and every daily rest, that these rounds break."""
    rounds = list(rounds)
    wanted = {tanker.id for tanker in problem.tankers} if tankers is None else set(tankers)
    found: list[Breach] = []
    for name in sorted(wanted):
        mine = sorted((each for each in rounds if each.tanker == name), key=lambda each: each.on)
        tanker = problem.tanker(name)
        found += _rests(problem, tanker, mine)
        found += _weeks(problem, tanker, mine)
    return found


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _weeks(problem: Problem, tanker: Tanker, rounds: list[Round]) -> Iterator[Breach]:
    driving: Counter[date] = Counter()
    working: Counter[date] = Counter()
    for past in tanker.worked_before:
        driving[_monday(past.on)] += past.driving_seconds
        working[_monday(past.on)] += past.work_seconds
    for round_ in rounds:
        driving[_monday(round_.on)] += _driven(problem, round_)
        working[_monday(round_.on)] += _worked(problem, round_)
    hours = tanker.driver_hours
    own, average = tanker.max_week_work_seconds, hours.average_week_work_seconds
    wheel = (
        _Limit("driving-a-week", "at the wheel in a week", 1, hours.max_week_driving_seconds),
        _Limit("driving-a-fortnight", "at the wheel in two weeks", 2,
               hours.max_fortnight_driving_seconds),
    )  # fmt: skip
    work = (
        _Limit("work-a-week", "of work in a week", 1, hours.max_week_work_seconds),
        _Limit("work-a-week", "of work in a week", 1, own),
        _Limit("work-on-average", f"of work in {REFERENCE_WEEKS} weeks", REFERENCE_WEEKS,
               None if average is None else average * REFERENCE_WEEKS),
    )  # fmt: skip
    planned = {_monday(round_.on) for round_ in rounds}
    yield from _over(tanker, driving, wheel, planned)
    yield from _over(tanker, working, work, planned)


def _over(
    tanker: Tanker, spent: Counter[date], limits: Iterable[_Limit], planned: set[date]
) -> Iterator[Breach]:
    """Stretches of consecutive weeks over a limit that hold a week with a planned round."""
    for limit in limits:
        if limit.seconds is None:
            continue
        for first in sorted(spent):
            weeks = [first + timedelta(weeks=number) for number in range(limit.weeks)]
            total = sum(spent[week] for week in weeks if week in spent)
            if total > limit.seconds and planned & set(weeks):
                allowed = f"{limit.seconds / 3600:g} h are allowed"
                why = f"{tanker.id}: {total / 3600:.1f} h {limit.told} from {first}; {allowed}."
                last = max(planned & set(weeks))
                yield Breach(rule=limit.rule, why=why, tanker=tanker.id, on=last)
                break


def _driven(problem: Problem, round_: Round) -> int:
    start = problem.start_of(round_.tanker, round_.on)
    before = 0 if start is None else start.driven_seconds
    return before + sum(stop.drive_seconds for stop in round_.stops)


def _on_duty_from(problem: Problem, round_: Round) -> int:
    leaves = round_.stops[0].depart_seconds
    start = problem.start_of(round_.tanker, round_.on)
    if start is None or start.on_duty_since_seconds is None:
        return leaves
    return start.on_duty_since_seconds


def _worked(problem: Problem, round_: Round) -> int:
    """Time on duty less the breaks; waiting counts as work, which is the safe side."""
    breaks = sum(s.depart_seconds - s.start_seconds for s in round_.stops if s.kind == "break")
    return round_.stops[-1].arrive_seconds - _on_duty_from(problem, round_) - breaks


def _rests(problem: Problem, tanker: Tanker, rounds: list[Round]) -> Iterator[Breach]:
    """The rest between one day's round and the next day's."""
    needed = tanker.driver_hours.daily_rest_seconds
    if needed is None:
        return
    for before, after in pairwise(rounds):
        apart = (after.on - before.on).days * DAY_SECONDS
        rest = apart + _on_duty_from(problem, after) - before.stops[-1].arrive_seconds
        if apart and rest < needed:
            why = (
                f"{tanker.id} has {rest / 3600:.1f} h of rest before {after.on}; "
                f"{needed / 3600:g} h are needed."
            )
            yield Breach(rule="daily-rest", why=why, tanker=tanker.id, on=after.on)
