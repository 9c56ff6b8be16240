"""The planning problem in the solver's terms, for one day or many on the same clock.

One vehicle type per tanker-day; one cost profile per group of tanker-days that see the same
costs. What the solver lacks is built from what it has:

* the last tip of the day is a composite end depot: its arcs go by the cheapest works home;
* a day's own costs (lateness, risk) and forbidden pairs sit on the arcs into a job;
* every job is optional to the solver, required ones at a very large prize, so that an
  overfull day names who does not fit instead of failing;
* a break is a job without load that only its own tanker may visit, at the base or a works;
* a tanker that starts loaded tips first, through a composite start depot, when that load
  leaves little room.

Costs are in hundredths of a penny, times in seconds after midnight, volumes in litres.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray
from pyvrp import Client, ClientGroup, Depot, Location, ProblemData, VehicleType

from scheduler.routing.arcs import Arcs
from scheduler.routing.fleet import Works
from scheduler.routing.problem import Job, Problem
from scheduler.routing.roads import Roads
from scheduler.routing.search import UNITS_PER_PENNY
from scheduler.routing.tanker_days import TankerDay, tanker_days

REQUIRED_PRIZE = 300_000 * UNITS_PER_PENNY
PROMISED_PRIZE = 500_000 * UNITS_PER_PENNY
BREAK_PRIZE = 800_000 * UNITS_PER_PENNY  # a round without its break is no round at all
Matrix = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class JobClient:
    """A client that stands for one job in one window of the day."""

    job: str
    window: tuple[int, int]


@dataclass(frozen=True, slots=True)
class BreakClient:
    """A client that stands for one tanker-day's break at one place, or for staying at home."""

    tanker_day: int
    place: str | None


@dataclass(slots=True)
class Model:
    """The solver's data with what is needed to read its answer."""

    data: ProblemData | None
    days: tuple[TankerDay, ...]
    clients: list[JobClient | BreakClient]
    reload_works: dict[int, str]
    reloads: list[dict[str, int]] = field(default_factory=list)
    client_of_job: dict[str, list[int]] = field(default_factory=dict)
    jobs: dict[str, Job] = field(default_factory=dict)

    @classmethod
    def empty(cls) -> "Model":
        """A model of no tanker at all, which has nothing to search."""
        return cls(data=None, days=(), clients=[], reload_works={})

    def windows_on(self, job: str, day: TankerDay) -> tuple[tuple[int, int], ...]:
        """When a job may start on a day."""
        return self.jobs[job].start_windows(day.on) if job in self.jobs else ()

    def depots_on(self, number: int) -> dict[str, int]:
        """Depot number of each works a tanker-day may tip at, by its id."""
        return self.reloads[number]


def build_model(
    problem: Problem,
    roads: Roads,
    jobs: Sequence[Job],
    dates: Sequence[date],
    prizes: Mapping[str, int] | None = None,
) -> Model:
    """The solver's data for these jobs on these days.

    `prizes` replaces, by job id, what leaving a job out costs, in hundredths of a penny.
    """
    days = tuple(day for day in tanker_days(problem, roads, dates) if day.can_work)
    builder = _Builder(problem, roads, jobs, days)
    builder.prizes = dict(prizes or {})
    return builder.build() if days else Model.empty()


class _Builder:
    """Collects locations, clients, depots and vehicle types, then the matrices."""

    def __init__(
        self,
        problem: Problem,
        roads: Roads,
        jobs: Sequence[Job],
        days: tuple[TankerDay, ...],
    ) -> None:
        self.problem = problem
        self.days = days
        self.arcs = Arcs(problem, roads, days, jobs)
        self.jobs = jobs
        self.prizes: dict[str, int] = {}
        self.clients: list[Client] = []
        self.meanings: list[JobClient | BreakClient] = []
        self.groups: list[ClientGroup] = []
        self.client_of_job: dict[str, list[int]] = {}
        self.depots: list[Depot] = []
        self.reload_works: dict[int, str] = {}
        self.reloads: list[dict[str, int]] = []

    def build(self) -> Model:
        works_depots: dict[Works, int] = {}
        types = [self._vehicle_type(day, works_depots) for day in self.days]
        for job in self.jobs:
            self._add_job(job)
        for number, day in enumerate(self.days):
            if day.break_wanted is not None:
                self._add_breaks(number, day)
        distances, durations = self.arcs.matrices()
        data = ProblemData(
            [Location(x, y, name=name) for name, x, y in self.arcs.locations()],
            self.clients,
            self.depots,
            types,
            distances,  # type: ignore[arg-type]  # the stub's array type has no shape
            durations,  # type: ignore[arg-type]
            self.groups,
        )
        return Model(
            data=data,
            days=self.days,
            clients=self.meanings,
            reload_works=self.reload_works,
            reloads=self.reloads,
            client_of_job=self.client_of_job,
            jobs={job.id: job for job in self.jobs},
        )

    def _works_depot(self, works: Works, known: dict[Works, int]) -> int:
        """The depot of a works with the hours of one day; days with the same hours share it."""
        if works not in known:
            location = self.arcs.add_place(works.id)
            latest = works.closes_seconds - works.service_seconds
            depot = Depot(location, works.opens_seconds, latest, works.service_seconds)
            known[works] = self._add_depot(depot)
            self.reload_works[known[works]] = works.id
        return known[works]

    def _add_depot(self, depot: Depot) -> int:
        self.depots.append(depot)
        return len(self.depots) - 1

    def _vehicle_type(self, day: TankerDay, works_depots: dict[Works, int]) -> VehicleType:
        start = Depot(self.arcs.start_location(day), day.leaves_from, day.back_by)
        end = Depot(self.arcs.end_location(day), 0, day.home_by)
        duty = min(day.tanker.duty_seconds, day.longest_duty)
        reloads = [self._works_depot(works, works_depots) for works in day.works]
        self.reloads.append(dict(zip((works.id for works in day.works), reloads, strict=True)))
        return VehicleType(
            1,
            [day.tanker.capacity_litres],
            self._add_depot(start),
            self._add_depot(end),
            0,
            day.leaves_from,
            day.home_by,
            shift_duration=duty,
            unit_distance_cost=1,
            unit_duration_cost=round(day.tanker.pence_per_hour * UNITS_PER_PENNY / 3600),
            profile=self.arcs.profile_of(day),
            start_late=day.leaves_from if day.start is not None else None,
            initial_load=[day.initial_load],
            reload_depots=reloads,
            max_reloads=day.most_reloads,
            max_overtime=max(day.longest_duty - duty, 0),
            unit_overtime_cost=round(day.tanker.overtime_pence_per_hour * UNITS_PER_PENNY / 3600),
        )

    def _add_job(self, job: Job) -> None:
        """One client for each distinct window of the day; more than one make a group."""
        windows = self.arcs.windows_of(job)
        group = None
        if len(windows) > 1:
            group = len(self.groups)
            first = len(self.clients)
            members = list(range(first, first + len(windows)))
            self.groups.append(ClientGroup(members, required=False))
        for window in windows:
            self.client_of_job.setdefault(job.id, []).append(len(self.clients))
            self.meanings.append(JobClient(job.id, window))
            self.clients.append(
                Client(
                    self.arcs.add_job(job, window),
                    pickup=[job.litres],
                    service_duration=job.service_seconds,
                    tw_early=window[0],
                    tw_late=window[1],
                    prize=self.prizes.get(job.id, prize_of(job)),
                    required=False,
                    group=group,
                )
            )

    def _add_breaks(self, number: int, day: TankerDay) -> None:
        """A group of break clients: stay at home all day, or a break at base or a works."""
        wanted = day.break_wanted
        assert wanted is not None
        places: list[str | None] = [None, day.tanker.base, *(works.id for works in day.works)]
        first = len(self.clients)
        group = len(self.groups)
        members = list(range(first, first + len(places)))
        self.groups.append(ClientGroup(members, required=False))
        for place in places:
            at_home = place is None
            self.meanings.append(BreakClient(number, place))
            self.clients.append(
                Client(
                    self.arcs.add_break(number, place),
                    pickup=[0],
                    service_duration=0 if at_home else wanted.seconds,
                    tw_early=0 if at_home else wanted.from_seconds,
                    tw_late=day.home_by if at_home else wanted.until_seconds,
                    prize=BREAK_PRIZE,
                    required=False,
                    group=group,
                )
            )


def prize_of(job: Job) -> int:
    """What leaving the job out costs the solver, in hundredths of a penny.

    A promise already given outweighs a job that is merely required.
    """
    if not job.required:
        return min(job.value_pence * UNITS_PER_PENNY, REQUIRED_PRIZE // 2)
    promised = bool(job.windows) or job.locked_on is not None
    return (PROMISED_PRIZE if promised else REQUIRED_PRIZE) + job.value_pence * UNITS_PER_PENNY
