"""The visits that agreements promise, and when each should come."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Q

from customers.agreement_terms import ONE_DAY, Stretch, year_around
from customers.local_days import zone_at
from customers.models import Agreement, Service
from scheduler.aftercare.work_done import fits, visits_of, work_of
from scheduler.models import Job
from servicing.models import System

if TYPE_CHECKING:
    from customers.models import Organisation

# A promised visit is wanted so many days before its part of the year is over: a setting of ours.
LEEWAY_DAYS = 14
LOOKS_BACK = dt.timedelta(days=3 * 366)
KIND_OF = {
    Service.EMPTYING: Job.Kind.EMPTYING,
    Service.SERVICE: Job.Kind.SERVICE,
    Service.INSPECTION: Job.Kind.INSPECTION,
}


@dataclass(frozen=True, slots=True)
class Promised:
    """One visit that an agreement includes and that has not been made yet."""

    system: System
    kind: Job.Kind
    on: dt.date
    agreement: Agreement
    number: int
    of: int
    missed: int = 0

    @property
    def why(self) -> str:
        """Why the job is there, for the office and the crew."""
        plan = self.agreement.plan
        why = f"Included in the agreement “{plan}”: {self.number} of {self.of}."
        if not self.missed:
            return why
        return f"{why} Wanted before the agreement was written down, not on record: {self.missed}."


def promised_by(
    organisation: Organisation, *, until: dt.date, today: dt.date
) -> Iterator[Promised]:
    """The next visit of each kind that an agreement promises each system, due by `until`."""
    agreements = list(
        Agreement.objects.standing()
        .filter(Q(ended_on__isnull=True) | Q(ended_on__gt=today), organisation=organisation)
        .filter(starts_on__lte=until, ends_on__gte=today)
        .exclude(
            plan__emptyings_per_year=0,
            plan__service_visits_per_year=0,
            plan__inspections_per_year=0,
        )
        .select_related("plan", "premises__organisation", "follows")
        .order_by("starts_on", "pk")
    )
    systems = systems_under(agreements)
    dates = dates_of_work([one.pk for rows in systems.values() for one in rows], today=today)
    met: set[tuple[int, Job.Kind]] = set()
    for agreement in agreements:
        for system in systems[agreement.premises_id]:
            for one in _at(agreement, system, dates[system.pk], today):
                if one.on <= until and (system.pk, one.kind) not in met:
                    met.add((system.pk, one.kind))
                    yield one


def systems_under(agreements: list[Agreement]) -> dict[int, list[System]]:
    """Systems in use at the places of agreements, by place."""
    found: defaultdict[int, list[System]] = defaultdict(list)
    rows = System.objects.in_use().filter(premises__in={one.premises_id for one in agreements})
    for system in rows.select_related("premises").prefetch_related("chambers").order_by("pk"):
        found[system.premises_id].append(system)
    return found


def dates_of_work(systems: list[int], *, today: dt.date) -> dict[int, dict[Service, list[dt.date]]]:
    """Days on which each kind of work was done at each system, oldest first."""
    found: defaultdict[int, dict[Service, list[dt.date]]] = defaultdict(lambda: defaultdict(list))
    for visit in visits_of(systems, since=today - LOOKS_BACK).order_by("visited_on", "pk"):
        for service in work_of(visit):
            found[visit.system_id][service].append(visit.visited_on)
    return found


def _at(
    agreement: Agreement,
    system: System,
    done: dict[Service, list[dt.date]],
    today: dt.date,
) -> Iterator[Promised]:
    year = year_around(agreement, max(today, agreement.starts_on))
    known = known_since(agreement, year, today)
    has_chambers = bool(system.chambers.all())
    for service, count in agreement.plan.included.items():
        if service not in KIND_OF or not fits(service, system, has_chambers):
            continue
        days = done.get(service, [])
        missed = missed_of(year, days, count=count, known=known)
        made = sum(year.first <= day <= year.last for day in days) + missed
        if made < count:
            # A tank is emptied when its forecast says so; the promise only says by when at latest.
            last = year.last if service == Service.EMPTYING else days[-1] if days else None
            on = max(wanted_on(year, count=count, made=made, last=last), known)
            yield Promised(system, KIND_OF[service], on, agreement, made + 1, count, missed)


def known_since(agreement: Agreement, year: Stretch, today: dt.date) -> dt.date:
    """Day on which an agreement, or the one it goes on from, was written down at the place.

    Nothing is overdue from before it was known. The chain is followed only as far as matters to
    this year of the agreement.
    """
    zone = zone_at(agreement.premises)
    first = agreement
    while first.created_at.astimezone(zone).date() > year.first and first.follows is not None:
        first = first.follows
    return min(first.created_at.astimezone(zone).date(), today)


def missed_of(year: Stretch, done: list[dt.date], *, count: int, known: dt.date) -> int:
    """Visits of a year whose part of it was over before `known`, and of which there is no record.

    They are not invented as due: whoever wrote the agreement down late may note them.
    """
    over = sum(_part_begins(year, number, count) <= known for number in range(1, count + 1))
    return max(0, over - sum(year.first <= day < known for day in done))


def _part_begins(year: Stretch, number: int, count: int) -> dt.date:
    """First day of the part of a year for visit `number` + 1 of `count`."""
    return year.first + dt.timedelta(days=year.days * number // count)


def wanted_on(year: Stretch, *, count: int, made: int, last: dt.date | None) -> dt.date:
    """When visit `made` + 1 of `count` in a year of an agreement should come.

    The year is cut into as many parts as there are visits. A visit comes its share of a year
    after the last one, or in the middle of its part where none is known; never before its part
    begins, nor later than `LEEWAY_DAYS` before it ends.
    """
    begins = _part_begins(year, made, count)
    ends = _part_begins(year, made + 1, count) - ONE_DAY
    middle = begins + (ends - begins) / 2
    wished = last + dt.timedelta(days=year.days // count) if last is not None else middle
    return max(begins, min(wished, ends - dt.timedelta(days=LEEWAY_DAYS)))
