"""The planning problem: who may drive, where they tip, what is to be done, on which days."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta

from scheduler.routing.driver_hours import DriverHours
from scheduler.routing.errors import (
    BadDates,
    DuplicateId,
    HorizonInThePast,
    NoTankers,
    NoWorks,
    UnknownId,
)
from scheduler.routing.fleet import Base, Tanker, Works
from scheduler.routing.travel_times import Place
from scheduler.routing.work import Job, TankerStart, Window

__all__ = [
    "Base",
    "DriverHours",
    "Job",
    "Problem",
    "Tanker",
    "TankerStart",
    "Window",
    "Works",
    "places_of",
]

LONGEST_HORIZON_DAYS = 62


@dataclass(frozen=True, kw_only=True)
class Problem:
    """Everything a plan depends on, in the local days and clock of one place.

    `days` calendar days from `start` are planned. `starts` says where tankers stand and how
    full they are when that is not simply at base and empty. `today`, when given, refuses a
    horizon that is already over and leaves days gone by alone.
    """

    start: date
    days: int
    bases: tuple[Base, ...]
    works: tuple[Works, ...]
    tankers: tuple[Tanker, ...]
    jobs: tuple[Job, ...]
    starts: tuple[TankerStart, ...] = ()
    today: date | None = None
    _job_by_id: dict[str, Job] = field(init=False, repr=False, compare=False)
    _tanker_by_id: dict[str, Tanker] = field(init=False, repr=False, compare=False)
    _open_by_day: dict[date, tuple[Works, ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Refuse what cannot be planned at all, each by its own named error."""
        object.__setattr__(self, "_job_by_id", {job.id: job for job in self.jobs})
        object.__setattr__(self, "_tanker_by_id", {each.id: each for each in self.tankers})
        object.__setattr__(self, "_open_by_day", {})
        self._require_days()
        self._require_fleet()
        self._require_unique_ids()
        self._require_known_ids()

    def _require_days(self) -> None:
        if not 1 <= self.days <= LONGEST_HORIZON_DAYS:
            message = f"Between 1 and {LONGEST_HORIZON_DAYS} days can be planned, not {self.days}."
            raise BadDates(message, field="days")
        last = self.start + timedelta(days=self.days - 1)
        if self.today is not None and last < self.today:
            message = f"The days to plan end on {last}, which is already over."
            raise HorizonInThePast(message, field="start")

    def _require_fleet(self) -> None:
        if not self.tankers:
            raise NoTankers("There is no tanker to plan with.", field="tankers")
        if not self.works and not all(tanker.may_end_loaded for tanker in self.tankers):
            message = "There is no treatment works to tip at."
            raise NoWorks(message, field="works")

    def _require_unique_ids(self) -> None:
        seen: set[str] = set()
        for kind, things in self._named_things():
            for thing in things:
                if thing.id in seen:
                    message = f"{kind}: the id “{thing.id}” is used twice."
                    raise DuplicateId(message, item=thing.id, field=kind)
                seen.add(thing.id)

    def _named_things(self) -> Iterator[tuple[str, Iterable[Base | Works | Tanker | Job]]]:
        yield "bases", self.bases
        yield "works", self.works
        yield "tankers", self.tankers
        yield "jobs", self.jobs

    def _require_known_ids(self) -> None:
        bases = {base.id for base in self.bases}
        for tanker in self.tankers:
            if tanker.base not in bases:
                message = f"{tanker.id}: there is no base “{tanker.base}”."
                raise UnknownId(message, item=tanker.id, field="base")
        for job in self.jobs:
            if job.locked_tanker is not None and job.locked_tanker not in self._tanker_by_id:
                message = f"{job.id}: there is no tanker “{job.locked_tanker}”."
                raise UnknownId(message, item=job.id, field="locked_tanker")
        for start in self.starts:
            if start.tanker not in self._tanker_by_id:
                message = f"There is no tanker “{start.tanker}” to start from."
                raise UnknownId(message, item=start.tanker, field="starts")

    @property
    def dates(self) -> tuple[date, ...]:
        """The days to plan, in order; those that are over by `today` are not among them."""
        days = (self.start + timedelta(days=offset) for offset in range(self.days))
        return tuple(day for day in days if self.today is None or day >= self.today)

    def job(self, job_id: str) -> Job:
        """The job of that id."""
        try:
            return self._job_by_id[job_id]
        except KeyError:
            message = f"There is no job “{job_id}”."
            raise UnknownId(message, item=job_id, field="jobs") from None

    def tanker(self, tanker_id: str) -> Tanker:
        """The tanker of that id."""
        try:
            return self._tanker_by_id[tanker_id]
        except KeyError:
            message = f"There is no tanker “{tanker_id}”."
            raise UnknownId(message, item=tanker_id, field="tankers") from None

    def works_by_id(self, works_id: str) -> Works:
        """The works of that id."""
        for works in self.works:
            if works.id == works_id:
                return works
        message = f"There is no works “{works_id}”."
        raise UnknownId(message, item=works_id, field="works")

    def base_of(self, tanker: Tanker) -> Base:
        """The base a tanker returns to."""
        return next(base for base in self.bases if base.id == tanker.base)

    def start_of(self, tanker_id: str, day: date) -> TankerStart | None:
        """Where the tanker stands on that day, when it is not at base and empty."""
        for start in self.starts:
            if start.tanker == tanker_id and start.on == day:
                return start
        return None

    def must_come_home(self, tanker_id: str, day: date) -> bool:
        """Whether a tanker is out, or loaded, so that it has to drive even without a job."""
        start = self.start_of(tanker_id, day)
        if start is None:
            return False
        base = self.base_of(self.tanker(tanker_id))
        away = (start.latitude, start.longitude) != (base.latitude, base.longitude)
        return away or (start.load_litres > 0 and not self.tanker(tanker_id).may_end_loaded)

    def works_open_on(self, day: date) -> tuple[Works, ...]:
        """The works that take tankers on that day, with the hours they have on it."""
        if day not in self._open_by_day:
            opened = (works.as_on(day) for works in self.works if works.is_open_on(day))
            self._open_by_day[day] = tuple(opened)
        return self._open_by_day[day]


def places_of(problem: Problem) -> tuple[Place, ...]:
    """Every position of the problem, each once, in a fixed order: the rows of the table."""
    things: list[Base | Works | Job] = [*problem.bases, *problem.works, *problem.jobs]
    places = [Place(thing.id, thing.latitude, thing.longitude) for thing in things]
    places += [Place(start.place_id, start.latitude, start.longitude) for start in problem.starts]
    return tuple(places)
