"""What a plan is made of: rounds of timed stops, what they cost, and what was left out."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Literal

StopKind = Literal["base", "job", "tip", "break"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Stop:
    """One stop of a round. Times are seconds after local midnight.

    `metres` and `drive_seconds` are those of the leg that leads here. A break carries the id
    of the place where it is taken.
    """

    kind: StopKind
    id: str
    arrive_seconds: int
    start_seconds: int
    depart_seconds: int
    load_after_litres: int
    metres: int
    drive_seconds: int

    @property
    def wait_seconds(self) -> int:
        """Time between arriving and starting."""
        return self.start_seconds - self.arrive_seconds


@dataclass(frozen=True, kw_only=True, slots=True)
class Costs:
    """What driving a plan costs, in pence. `late` holds every cost of the chosen day."""

    distance: int = 0
    time: int = 0
    overtime: int = 0
    fixed: int = 0
    tipping: int = 0
    late: int = 0

    @property
    def total(self) -> int:
        """All of it."""
        return self.distance + self.time + self.overtime + self.fixed + self.tipping + self.late

    @staticmethod
    def sum(parts: Iterable["Costs"]) -> "Costs":
        """The costs of several rounds together."""
        parts = list(parts)
        return Costs(
            distance=sum(part.distance for part in parts),
            time=sum(part.time for part in parts),
            overtime=sum(part.overtime for part in parts),
            fixed=sum(part.fixed for part in parts),
            tipping=sum(part.tipping for part in parts),
            late=sum(part.late for part in parts),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Round:
    """One tanker's day: its first and last stops are its start and its base."""

    tanker: str
    on: date
    stops: tuple[Stop, ...]
    costs: Costs
    on_duty_from_seconds: int

    @property
    def start_seconds(self) -> int:
        """When the tanker leaves its starting place."""
        return self.stops[0].depart_seconds

    @property
    def end_seconds(self) -> int:
        """When the tanker is back."""
        return self.stops[-1].arrive_seconds

    @property
    def duty_seconds(self) -> int:
        """Duty of the day, including what was worked before the first stop shown."""
        return self.end_seconds - self.on_duty_from_seconds

    @property
    def metres(self) -> int:
        """Distance driven."""
        return sum(stop.metres for stop in self.stops)

    @property
    def drive_seconds(self) -> int:
        """Time at the wheel."""
        return sum(stop.drive_seconds for stop in self.stops)

    @property
    def job_ids(self) -> tuple[str, ...]:
        """The jobs in driving order."""
        return tuple(stop.id for stop in self.stops if stop.kind == "job")

    @property
    def tips(self) -> int:
        """Number of visits to a works."""
        return sum(stop.kind == "tip" for stop in self.stops)

    @property
    def litres(self) -> int:
        """Litres collected on the round."""
        loads = [stop.load_after_litres for stop in self.stops]
        return sum(
            now - before
            for before, now, stop in zip(loads, loads[1:], self.stops[1:], strict=False)
            if stop.kind == "job"
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class LeftOut:
    """A job without a round: a short rule for programs and a sentence for people."""

    job: str
    rule: str
    why: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Breach:
    """A rule a round breaks, with the tanker, day and job it concerns where there is one."""

    rule: str
    why: str
    tanker: str = ""
    on: date | None = None
    job: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Plan:
    """Rounds that passed the checker, and every other job with the reason it is not in one."""

    rounds: tuple[Round, ...]
    left_out: tuple[LeftOut, ...]
    missed_value_pence: int
    warnings: tuple[str, ...] = ()
    travel_source: str = ""
    checked: bool = False

    @property
    def costs(self) -> Costs:
        """What driving the whole plan costs."""
        return Costs.sum(round_.costs for round_ in self.rounds)

    @property
    def metres(self) -> int:
        """Distance driven over all rounds."""
        return sum(round_.metres for round_ in self.rounds)

    @property
    def objective_pence(self) -> int:
        """What the planner minimises: the cost of driving and the value of what is left out."""
        return self.costs.total + self.missed_value_pence

    def round_of(self, job_id: str) -> Round | None:
        """The round a job is in."""
        return next((each for each in self.rounds if job_id in each.job_ids), None)
