"""A round as people read it: lines in driving order with local times, the timeline, the map."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.db.models import Prefetch
from django.utils.safestring import SafeString, mark_safe

from scheduler.charts import Mark, timeline
from scheduler.models import Appointment, Round, Stop
from scheduler.round_plans import LocalClock, seconds_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from django.db.models import QuerySet

    from customers.models import Premises
    from scheduler.models import Job

NAMES = {"base": "Base", "tip": "Tip", "break": "Break"}
ROUTE_LOOKS = 6


@dataclass(frozen=True, kw_only=True)
class Line:
    """One stop with its local times; `number` counts the jobs of the round.

    `change` is by how many litres the load changes there: less than nothing at a works.
    """

    stop: Stop
    arrives: dt.datetime
    starts: dt.datetime
    departs: dt.datetime
    number: int | None
    litres: int
    change: int = 0
    promise: tuple[dt.datetime, dt.datetime] | None = None
    stands_there: bool = False

    @property
    def name(self) -> str:
        """What happens here, in a few words."""
        if self.stop.job is not None:
            return str(self.stop.job.system.premises)
        if self.stop.works is not None:
            return f"Tip at {self.stop.works}"
        if self.stands_there:
            return "Where it stands"
        return NAMES[self.stop.kind]

    @property
    def tipped(self) -> int:
        """Litres to tip at a works."""
        return max(-self.change, 0)

    @property
    def hours_words(self) -> str:
        """When the works is open that day."""
        return self.stop.works_hours

    @property
    def premises(self) -> Premises | None:
        """The place of a job."""
        return self.stop.job.system.premises if self.stop.job is not None else None


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A round with all its lines and sums."""

    planned: Round
    lines: tuple[Line, ...]
    clock: LocalClock
    look: int = 0
    own_jobs: frozenset[int] = field(default_factory=frozenset)

    @property
    def job_lines(self) -> tuple[Line, ...]:
        """Lines of jobs only."""
        return tuple(line for line in self.lines if line.number is not None)

    @property
    def jobs(self) -> tuple[Job, ...]:
        """Jobs in driving order."""
        return tuple(line.stop.job for line in self.lines if line.stop.job is not None)

    @property
    def litres(self) -> int:
        """Litres collected."""
        return sum(line.litres for line in self.lines if line.number is not None)

    @property
    def tips(self) -> int:
        """Visits to a works."""
        return sum(line.stop.kind == Stop.Kind.TIP for line in self.lines)

    @property
    def km(self) -> float:
        """Distance driven."""
        return self.planned.metres / 1000

    @property
    def hours(self) -> float:
        """From leaving the base to being back."""
        if not self.lines:
            return 0.0
        return (self.lines[-1].arrives - self.lines[0].departs).total_seconds() / 3600

    @property
    def grave_jobs(self) -> frozenset[str]:
        """Public ids of jobs that a breach is about."""
        return frozenset(each["job"] for each in self.planned.breaches if each["job"])

    def timeline(self) -> SafeString:
        """The day as a picture; every text in it is escaped where it is drawn."""
        tanker = self.planned.tanker
        return mark_safe(  # noqa: S308 (charts escape what they draw)
            timeline(
                [self._mark(line) for line in self.lines],
                key=f"timeline-{self.planned.public_id}",
                title=f"{tanker}, {self.planned.day:%A %d %B %Y}",
                shift=(seconds_of(tanker.shift_starts), seconds_of(tanker.shift_ends)),
            )
        )

    def _mark(self, line: Line) -> Mark:
        job = line.stop.job
        labels = {"job": str(line.number), "tip": "Tip", "break": "Break", "base": ""}
        return Mark(
            kind=line.stop.kind,  # type: ignore[arg-type]
            label=labels[line.stop.kind],
            says=f"{line.number}. {line.name}" if line.number else line.name,
            arrives=self._seconds(line.arrives),
            starts=self._seconds(line.starts),
            departs=self._seconds(line.departs),
            grave=job is not None and str(job.public_id) in self.grave_jobs,
        )

    def _seconds(self, local: dt.datetime) -> int:
        midnight = dt.datetime.combine(self.planned.day, dt.time())
        return int((local - midnight).total_seconds())


def rounds_with_stops(rounds: QuerySet[Round]) -> QuerySet[Round]:
    """Rounds with all that their sheets read, in a constant number of queries."""
    standing = Appointment.objects.filter(cancelled_at__isnull=True)
    stops = Stop.objects.select_related(
        "works", "job__organisation", "job__system__premises__organisation", "job__system__forecast"
    ).prefetch_related(
        "works__closures", Prefetch("job__appointments", queryset=standing, to_attr="standing")
    )
    return rounds.select_related("tanker__base", "crew", "organisation", "run").prefetch_related(
        Prefetch("stops", queryset=stops.order_by("position"))
    )


def sheets_of(rounds: Iterable[Round]) -> list[Sheet]:
    """Sheets of rounds fetched by `rounds_with_stops`; each route of a map looks different."""
    return [sheet_of(planned, look=look % ROUTE_LOOKS) for look, planned in enumerate(rounds)]


def sheet_of(planned: Round, *, look: int = 0) -> Sheet:
    """Sheet of one round."""
    clock = LocalClock.of(planned.organisation)
    lines: list[Line] = []
    number, load = 0, 0
    for stop in planned.stops.all():
        number += stop.job is not None
        lines.append(
            Line(
                stop=stop,
                arrives=clock.local(stop.arrive_at),
                starts=clock.local(stop.start_at),
                departs=clock.local(stop.depart_at),
                number=number if stop.job is not None else None,
                litres=max(stop.load_after_litres - load, 0),
                change=stop.load_after_litres - load,
                promise=_promise(stop, clock),
                stands_there=not lines and _begins_on_the_road(planned),
            )
        )
        load = stop.load_after_litres
    return Sheet(planned=planned, lines=tuple(lines), clock=clock, look=look)


def _begins_on_the_road(planned: Round) -> bool:
    """Whether it is a proposal for the rest of a day, which begins wherever the tanker is."""
    run = planned.run
    return planned.accepted_at is None and run is not None and bool(run.settings.get("happening"))


def _promise(stop: Stop, clock: LocalClock) -> tuple[dt.datetime, dt.datetime] | None:
    standing: list[Appointment] = getattr(stop.job, "standing", []) if stop.job else []
    if not standing:
        return None
    return clock.local(standing[0].starts_at), clock.local(standing[0].ends_at)


def map_of(sheets: Sequence[Sheet], left_out: Iterable[Job] = ()) -> dict[str, Any]:
    """Routes and places for the map's script: plain numbers and texts."""
    return {
        "routes": [
            {
                "look": sheet.look,
                "name": f"{sheet.planned.tanker}, {sheet.planned.day:%a %d %b}",
                "stops": [_point(sheet, line) for line in sheet.lines if _point(sheet, line)],
            }
            for sheet in sheets
        ],
        "left_out": [
            {
                "at": [job.system.latitude, job.system.longitude],
                "title": f"Left out: {job.system.premises}",
            }
            for job in left_out
            if job.system.latitude is not None
        ],
    }


def _point(sheet: Sheet, line: Line) -> dict[str, Any] | None:
    stop = line.stop
    place: Any = {
        "base": sheet.planned.tanker.base,
        "tip": stop.works,
        "job": stop.job.system if stop.job is not None else None,
        "break": None,
    }[stop.kind]
    if place is None or place.latitude is None or line.stands_there:
        return None
    title = f"{line.starts:%H:%M} {line.name}"
    return {
        "kind": stop.kind,
        "at": [place.latitude, place.longitude],
        "label": str(line.number) if line.number else {"tip": "T", "base": "B"}[stop.kind],
        "title": title,
    }
