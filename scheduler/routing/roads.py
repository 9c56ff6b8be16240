"""The travel table by place id, with what the timing of rounds asks of it."""

from dataclasses import dataclass, field
from datetime import date

from scheduler.routing.problem import Problem, Tanker
from scheduler.routing.travel_times import TravelTable


@dataclass(frozen=True)
class Roads:
    """A travel table that answers by place id."""

    table: TravelTable
    row: dict[str, int] = field(init=False)

    def __post_init__(self) -> None:
        """Index the places once."""
        object.__setattr__(self, "row", self.table.index())

    def metres(self, start: str, end: str) -> int:
        """Road metres from one place to another."""
        return int(self.table.metres[self.row[start], self.row[end]])

    def seconds(self, start: str, end: str) -> int:
        """Driving seconds from one place to another."""
        return int(self.table.seconds[self.row[start], self.row[end]])

    def leg_pence(self, tanker: Tanker, start: str, end: str) -> float:
        """Distance and driver's time of one leg, in pence."""
        distance = self.metres(start, end) * tanker.pence_per_km / 1000
        return distance + self.seconds(start, end) * tanker.pence_per_hour / 3600


def start_place(problem: Problem, tanker: Tanker, day: date) -> str:
    """Id of the place where the tanker begins its day."""
    start = problem.start_of(tanker.id, day)
    return tanker.base if start is None else start.place_id
