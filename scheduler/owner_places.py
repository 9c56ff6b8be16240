"""One place as its owner sees it: levels, next dates, promises, past visits."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.formats import date_format
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext

from customers.local_days import zone_at
from scheduler.booking import standing_appointment
from scheduler.date_words import next_emptying_words
from scheduler.models import Job, TroubleReport
from scheduler.owner_phrases import assumptions_in_words
from scheduler.owner_requests import is_household, occupancy_on
from servicing.charts import LevelFacts, level_picture
from servicing.models import System
from servicing.volumes import spoken

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from customers.models import OwnerLink, Premises
    from scheduler.models import Appointment
    from servicing.models import Forecast, Occupancy, Visit

VISITS_SHOWN = 12


@dataclass(frozen=True)
class PlannedVisit:
    """A job the owner has to know of, with the time we named, if we did."""

    job: Job
    appointment: Appointment | None
    wish_is_open: bool

    @property
    def is_offered(self) -> bool:
        """Whether the owner's yes is still wanted."""
        return self.appointment is not None and self.appointment.agreed_at is None

    @property
    def when(self) -> str:
        """The time named, in words; empty where none is."""
        if self.appointment is None:
            return ""
        return appointment_words(self.appointment, self.job.system.premises)

    @property
    def may_change(self) -> bool:
        """Whether another day can still be asked for."""
        return self.job.state in (Job.State.WANTED, Job.State.OFFERED, Job.State.AGREED)


@dataclass(frozen=True)
class OwnersSystem:
    """One system at the place."""

    system: System
    forecast: Forecast | None
    picture: SafeString
    next_words: str
    assumptions: tuple[str, ...]
    occupancy: Occupancy | None
    is_household: bool
    planned: tuple[PlannedVisit, ...]
    visits: tuple[Visit, ...]


def systems_at(premises: Premises) -> list[System]:
    """Systems in use at a place."""
    return list(
        System.objects.in_use()
        .filter(premises=premises)
        .select_related("forecast", "organisation", "premises__organisation")
        .prefetch_related("tanks", "occupancies")
    )


def jobs_at(premises: Premises) -> QuerySet[Job]:
    """Every job at a place: what its link may answer."""
    return Job.objects.filter(system__premises=premises).select_related(
        "system__premises__organisation", "organisation"
    )


def reports_by(link: OwnerLink) -> QuerySet[TroubleReport]:
    """Trouble that this person reported at the place: not what others said."""
    return TroubleReport.objects.filter(system__premises=link.premises, person=link.person)


def owners_view_of(system: System, now: dt.datetime) -> OwnersSystem:
    """Everything shown to the owner of one system."""
    today = now.astimezone(zone_at(system.premises)).date()
    forecast = getattr(system, "forecast", None)
    visits = system.visits.filter(replaced_by__isnull=True).select_related("emptying")
    return OwnersSystem(
        system=system,
        forecast=forecast,
        picture=picture_of(system, forecast),
        next_words=next_emptying_words(forecast, today),
        assumptions=tuple(assumptions_in_words(forecast.assumptions)) if forecast else (),
        occupancy=occupancy_on(system, today),
        is_household=is_household(system, today),
        planned=tuple(planned_visits(system, now)),
        visits=tuple(visits[:VISITS_SHOWN]),
    )


def planned_visits(system: System, now: dt.datetime) -> list[PlannedVisit]:
    """Open jobs, soonest due first; a time that has passed is no longer shown as promised."""
    found = []
    for job in (
        Job.objects.open()
        .filter(system=system)
        .select_related("system__premises__organisation")
        .order_by("due_on")
    ):
        appointment = standing_appointment(job)
        if appointment is not None and appointment.ends_at <= now:
            appointment = None
        wish = job.day_requests.filter(settled_at__isnull=True).exists()
        found.append(PlannedVisit(job=job, appointment=appointment, wish_is_open=wish))
    return found


def picture_of(system: System, forecast: Forecast | None) -> SafeString:
    """The level picture as SVG; empty where there is no volume to draw."""
    if forecast is None or not forecast.working_volume_litres or forecast.level_p50 is None:
        return SafeString("")
    tank = next(iter(system.tanks.all()), None)
    units = system.organisation.units
    facts = LevelFacts(
        shape=tank.shape if tank else "unknown",
        working_volume=forecast.working_volume_litres,
        low=forecast.level_p10,
        likely=forecast.level_p50,
        high=forecast.level_p90,
        trigger=forecast.trigger_litres,
        say=lambda litres: spoken(litres, units),
        speak=gettext,
    )
    drawn = level_picture(facts, key=f"level-{system.pk}")
    return mark_safe(drawn)  # noqa: S308 (charts escape what they draw)


def appointment_words(appointment: Appointment, premises: Premises) -> str:
    """The time we named, on the clock of the place: Tuesday 8 December 2026, 08:00 to 10:00."""
    zone = zone_at(premises)
    begins, ends = appointment.starts_at.astimezone(zone), appointment.ends_at.astimezone(zone)
    told = {"first": f"{begins:%H:%M}", "last": f"{ends:%H:%M}"}
    day = date_format(begins.date(), "l j F Y")
    return gettext("%(day)s, %(first)s to %(last)s") % {"day": day, **told}
