"""One tanker on one day, as the solver must see it: from where, until when, to which works."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from scheduler.routing.fleet import Tanker, Works
from scheduler.routing.problem import Problem
from scheduler.routing.roads import Roads
from scheduler.routing.timing import PlannedBreak, planned_break
from scheduler.routing.week_shares import longest_day_seconds
from scheduler.routing.work import TankerStart

TIP_FIRST_ABOVE = 0.25  # share of capacity already on board that sends a tanker to tip first


@dataclass(frozen=True, slots=True)
class TankerDay:
    """One tanker on one day, with what the solver must know of it."""

    tanker: Tanker
    on: date
    start: TankerStart | None
    start_place: str
    works: tuple[Works, ...]
    break_wanted: PlannedBreak | None
    tips_first: Works | None
    leaves_from: int
    home_by: int
    longest_duty: int

    @property
    def can_work(self) -> bool:
        """Whether there is any time left to leave and be back."""
        return self.leaves_from < self.home_by and self.longest_duty > 0

    @property
    def back_by(self) -> int:
        """Latest useful departure."""
        return self.home_by

    @property
    def initial_load(self) -> int:
        """Litres on board that the solver must count; none when the tanker tips first."""
        if self.start is None or self.tips_first is not None:
            return 0
        return self.start.load_litres

    @property
    def most_reloads(self) -> int:
        """Tips between trips in a day: bounded by the daily litres where there is a cap."""
        cap = self.tanker.max_litres_per_day
        if cap is None:
            return 12
        return max(cap // self.tanker.capacity_litres - 1, 0)

    @property
    def profile_key(self) -> tuple[object, ...]:
        """Tanker-days with the same key see the same costs and may share a profile."""
        tanker = self.tanker
        return (
            self.on,
            tanker.base,
            tanker.id if self.break_wanted or self.start else None,
            (tanker.capacity_litres, tanker.width_m, tanker.height_m, tanker.gross_tonnes),
            (tanker.hose_m, tanker.wastes, tanker.pence_per_km, tanker.pence_per_hour),
            (tanker.fixed_pence_per_day, tanker.may_end_loaded, tanker.overtime_seconds),
            (tanker.shift_start_seconds, tanker.shift_end_seconds),
        )


def tanker_days(problem: Problem, roads: Roads, dates: Sequence[date]) -> tuple[TankerDay, ...]:
    """Every tanker on every day it works, in a fixed order."""
    return tuple(
        _tanker_day(problem, roads, tanker, on)
        for on in dates
        for tanker in problem.tankers
        if on not in tanker.off
    )


def _tanker_day(problem: Problem, roads: Roads, tanker: Tanker, on: date) -> TankerDay:
    start = problem.start_of(tanker.id, on)
    place = tanker.base if start is None else start.place_id
    works = problem.works_open_on(on)
    longest = longest_day_seconds(problem, tanker, on)
    leaves = tanker.shift_start_seconds
    if start is not None:
        leaves = max(leaves, start.at_seconds)
        longest = max(longest - (leaves - start.on_duty_from(leaves)), 0)
    tips_first = _tips_first(roads, tanker, start, works)
    if tips_first is not None:
        drive = roads.seconds(place, tips_first.id)
        leaves = max(leaves, tips_first.opens_seconds - drive)
    wanted = planned_break(tanker)
    if start is not None and (start.break_taken or (wanted and leaves >= wanted.from_seconds)):
        wanted = None
    return TankerDay(
        tanker=tanker,
        on=on,
        start=start,
        start_place=place,
        works=works,
        break_wanted=wanted,
        tips_first=tips_first,
        leaves_from=leaves,
        home_by=_home_by(roads, tanker, works),
        longest_duty=longest,
    )


def _tips_first(
    roads: Roads, tanker: Tanker, start: TankerStart | None, works: Sequence[Works]
) -> Works | None:
    if start is None or start.load_litres <= TIP_FIRST_ABOVE * tanker.capacity_litres:
        return None
    taking = [each for each in works if each.takes(start.loaded_wastes)]
    return min(taking, key=lambda each: roads.seconds(start.place_id, each.id), default=None)


def _home_by(roads: Roads, tanker: Tanker, works: Sequence[Works]) -> int:
    """Latest arrival at base that still allows the last tip before the works close."""
    if tanker.may_end_loaded or not works:
        return tanker.latest_end_seconds
    closing = max(each.closes_seconds + roads.seconds(each.id, tanker.base) for each in works)
    return min(tanker.latest_end_seconds, closing)
