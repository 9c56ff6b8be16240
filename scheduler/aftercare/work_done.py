"""Which kinds of work a visit was: the one reading of it, for promises and for charges alike."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from customers.models import Service
from scheduler.models import Job
from servicing.models import ChamberFinding, System, Visit
from servicing.models.visits import VisitQuerySet

if TYPE_CHECKING:
    import datetime as dt

OF_JOB = {
    Job.Kind.SERVICE: Service.SERVICE,
    Job.Kind.INSPECTION: Service.INSPECTION,
    Job.Kind.CALL_OUT: Service.CALL_OUT,
}


def with_work(visits: VisitQuerySet) -> VisitQuerySet:
    """Visits with what `work_of` looks at, in a fixed number of queries."""
    return visits.select_related("emptying", "job", "system").prefetch_related("chamber_findings")


def work_of(visit: Visit) -> list[Service]:
    """Kinds of work done on a visit that was carried out; none where others came.

    A look into the chambers is an inspection only where that was the visit: on other visits it
    rides along.
    """
    if visit.abandoned_because or visit.carried_out_by_others:
        return []
    job = getattr(visit, "job", None)
    found: set[Service] = set()
    if getattr(visit, "emptying", None) is not None:
        found.add(Service.EMPTYING)
    if visit.serviced:
        found.add(Service.SERVICE)
    if job is not None and job.kind in OF_JOB:
        found.add(OF_JOB[Job.Kind(job.kind)])
    findings = list(visit.chamber_findings.all())
    if findings and not found and job is None:
        found.add(Service.INSPECTION)
    if any(one.action == ChamberFinding.Action.JETTED for one in findings):
        found.add(Service.JETTING)
    return sorted(found)


def fits(service: Service, system: System, has_chambers: bool) -> bool:
    """Whether a system wants this kind of visit at all."""
    if service == Service.EMPTYING:
        return bool(system.holds_sludge)
    if service == Service.SERVICE:
        return system.kind == System.Kind.PACKAGE_PLANT
    if service == Service.INSPECTION:
        return has_chambers or bool(system.holds_sludge)
    return False


def visits_of(systems: Iterable[int], *, since: dt.date) -> VisitQuerySet:
    """Visits that count at these systems from a day on."""
    return with_work(
        Visit.objects.that_count().filter(system__in=set(systems), visited_on__gte=since)
    )
