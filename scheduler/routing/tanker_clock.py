"""A tanker's clock: drives to stops one after another, counts load, lateness and spells."""

from dataclasses import dataclass, field

from scheduler.routing.driver_hours import DriverHours
from scheduler.routing.roads import Roads
from scheduler.routing.rounds import Stop, StopKind

SHORTEST_SPLIT_BREAK_SECONDS = 15 * 60
NEVER_LATE_SECONDS = 86_400
Windows = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Node:
    """A stop to be timed: where, how long, and when it may start."""

    kind: StopKind
    id: str
    service: int
    windows: Windows
    litres: int = 0


@dataclass(slots=True)
class TankerClock:
    """The running state of a tanker along its order."""

    roads: Roads
    hours: DriverHours
    place: str
    now: int
    load: int
    late: int = 0
    driven_since_break: int = 0
    short_break_taken: bool = False
    worked_since: int = 0
    stops: list[Stop] = field(default_factory=list)

    def needs_break_before(self, node: Node) -> bool:
        """Whether the regime forces a break before the next leg and its work."""
        drive = self.roads.seconds(self.place, node.id)
        driving = self.hours.driving_before_break_seconds
        if driving is not None and self.driven_since_break + drive > driving:
            return self.driven_since_break > 0
        work = self.hours.work_before_break_seconds
        if work is None:
            return False
        arrive = self.now + drive
        start = start_in(node.windows, arrive)
        worked = 0 if node.kind == "break" else node.service
        return (arrive if start is None else start) + worked - self.worked_since > work

    def take(self, node: Node) -> None:
        """Drive to a stop, wait for its window and do what is to be done there."""
        drive = self.roads.seconds(self.place, node.id)
        arrive = self.now + drive
        start = start_in(node.windows, arrive)
        if start is None:
            start = arrive
            self.late += arrive - node.windows[-1][1] if node.windows else NEVER_LATE_SECONDS
        depart = start + node.service
        self.load = 0 if node.kind == "tip" else self.load + node.litres
        self.driven_since_break += drive
        if node.kind == "break":
            self.rest(node.service, depart)
        self.stops.append(
            Stop(
                kind=node.kind,
                id=node.id,
                arrive_seconds=arrive,
                start_seconds=start,
                depart_seconds=depart,
                load_after_litres=self.load,
                metres=self.roads.metres(self.place, node.id),
                drive_seconds=drive,
            )
        )
        self.place, self.now = node.id, depart

    def rest(self, seconds: int, until: int) -> None:
        """Count a break: it ends a spell of work, and of driving when long enough."""
        hours = self.hours
        completes_split = self.short_break_taken and seconds >= hours.driving_break_seconds * 2 / 3
        if seconds >= hours.driving_break_seconds or completes_split:
            self.driven_since_break, self.short_break_taken = 0, False
        elif seconds >= SHORTEST_SPLIT_BREAK_SECONDS:
            self.short_break_taken = True
        if seconds >= min(hours.work_break_seconds, SHORTEST_SPLIT_BREAK_SECONDS):
            self.worked_since = until


def start_in(windows: Windows, arrive: int) -> int | None:
    for opens, closes in windows:
        if arrive <= closes:
            return max(arrive, opens)
    return None
