"""The year ahead month by month: visits, litres, hours and income."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Q

from customers.agreement_terms import instalments, year_around
from customers.agreements import term_end
from customers.models import Agreement
from customers.money import months_after
from scheduler.aftercare.promised import (
    KIND_OF,
    dates_of_work,
    known_since,
    missed_of,
    systems_under,
    wanted_on,
)
from scheduler.aftercare.work_done import fits
from scheduler.emptying_repeats import falls_due_again
from scheduler.emptying_sizes import USUAL_LITRES, litres_of
from scheduler.models import Job
from servicing.models import Forecast

if TYPE_CHECKING:
    from collections.abc import Iterator

    from customers.models import Organisation, Service
    from servicing.models import System

MONTHS = 12
ONE_DAY = dt.timedelta(days=1)
# On site, and the road to it: common practice, no source.
MINUTES = {Job.Kind.EMPTYING: 40, Job.Kind.SERVICE: 60, Job.Kind.INSPECTION: 25}
ROAD_MINUTES = 20

# Days on which a kind of work is wanted at a system.
Wanted = defaultdict[tuple[int, Job.Kind], list[dt.date]]


@dataclass(slots=True)
class Month:
    """One month: what agreements promise, what else is forecast, and the fees that fall due."""

    first: dt.date
    promised: int = 0
    forecast: int = 0
    litres: int = 0
    minutes: int = 0
    sure_pence: int = 0
    if_renewed_pence: int = 0

    @property
    def visits(self) -> int:
        """Promised and forecast together."""
        return self.promised + self.forecast

    @property
    def hours(self) -> float:
        """On site and on the road."""
        return self.minutes / 60

    @property
    def income_pence(self) -> int:
        """Fees of running terms, and of terms to come where they are renewed. Before VAT."""
        return self.sure_pence + self.if_renewed_pence


def year_ahead(organisation: Organisation, *, today: dt.date) -> list[Month]:
    """Twelve months from this one. What is overdue stands in the first."""
    first = today.replace(day=1)
    months = [Month(months_after(first, number)) for number in range(MONTHS)]
    until = months_after(first, MONTHS) - ONE_DAY
    promised: Wanted = defaultdict(list)
    agreements = _agreements(organisation, today, until)
    for system, kind, day in _promises(agreements, today=today, until=until):
        promised[system.pk, kind].append(day)
        month = months[_place(day, first)]
        month.promised += 1
        month.litres += _litres(system) if kind == Job.Kind.EMPTYING else 0
        month.minutes += MINUTES[kind] + ROAD_MINUTES
    _add_forecasts(organisation, months, promised, today=today, until=until)
    for agreement in agreements:
        _add_fees(agreement, months, until)
    return months


def _agreements(organisation: Organisation, today: dt.date, until: dt.date) -> list[Agreement]:
    rows = Agreement.objects.standing().filter(
        Q(ended_on__isnull=True) | Q(ended_on__gt=today),
        organisation=organisation,
        starts_on__lte=until,
        ends_on__gte=today,
    )
    return list(rows.select_related("plan", "premises__organisation", "follows").order_by("pk"))


def _place(day: dt.date, first: dt.date) -> int:
    months = (day.year - first.year) * 12 + day.month - first.month
    return max(0, min(MONTHS - 1, months))


def _litres(system: System) -> int:
    forecast = getattr(system, "forecast", None)
    return litres_of(forecast) if forecast is not None else USUAL_LITRES


def _promises(
    agreements: list[Agreement], *, today: dt.date, until: dt.date
) -> Iterator[tuple[System, Job.Kind, dt.date]]:
    """Every visit that running agreements, and their next terms, promise until a day."""
    systems = systems_under(agreements)
    dates = dates_of_work([one.pk for rows in systems.values() for one in rows], today=today)
    for agreement in agreements:
        for system in systems[agreement.premises_id]:
            has_chambers = bool(system.chambers.all())
            for service, count in agreement.plan.included.items():
                if service in KIND_OF and fits(service, system, has_chambers):
                    days = dates.get(system.pk, {}).get(service, [])
                    for day in _days(agreement, service, count, days, today=today):
                        if day <= until:
                            yield system, KIND_OF[service], max(day, today)


def _days(
    agreement: Agreement, service: Service, count: int, done: list[dt.date], *, today: dt.date
) -> Iterator[dt.date]:
    """Days of the visits still to come in this year of the agreement, and in the one after it."""
    year = year_around(agreement, max(today, agreement.starts_on))
    missed = missed_of(year, done, count=count, known=known_since(agreement, year, today))
    made = sum(year.first <= day <= year.last for day in done) + missed
    last = done[-1] if done else None
    for number in range(made, count):
        last = wanted_on(year, count=count, made=number, last=last)
        if last <= agreement.last_day:
            yield last
    goes_on = agreement.renews_itself or year.last < agreement.ends_on
    if goes_on and agreement.ended_on is None:
        for number in range(count):
            yield wanted_on(year, count=count, made=number, last=None) + (
                year.last + ONE_DAY - year.first
            )


def _add_forecasts(
    organisation: Organisation,
    months: list[Month],
    promised: Wanted,
    *,
    today: dt.date,
    until: dt.date,
) -> None:
    """What the forecasts want beyond the visits of the kind that agreements promise a system."""
    rows = Forecast.objects.filter(organisation=organisation, system__retired_on__isnull=True)
    first = months[0].first
    for row in rows:
        for kind, days in _forecast_days(row, today=today, until=until):
            for day in _beyond(days, promised.get((row.system_id, kind), [])):
                month = months[_place(day, first)]
                month.forecast += 1
                month.litres += litres_of(row) if kind == Job.Kind.EMPTYING else 0
                month.minutes += MINUTES[kind] + ROAD_MINUTES


def _forecast_days(
    row: Forecast, *, today: dt.date, until: dt.date
) -> Iterator[tuple[Job.Kind, list[dt.date]]]:
    """Days on which each kind of work is wanted. What is overdue is taken to be done today."""
    if row.due_on is not None and row.due_on <= until:
        day = max(row.due_on, today)
        yield Job.Kind.EMPTYING, [day, *falls_due_again(row, day, until + ONE_DAY)]
    for kind, wanted in (
        (Job.Kind.SERVICE, row.service_due_on),
        (Job.Kind.INSPECTION, row.inspect_due_on),
    ):
        if wanted is not None and wanted <= until:
            yield kind, [max(wanted, today)]


def _beyond(wanted: list[dt.date], promised: list[dt.date]) -> list[dt.date]:
    """Days that no promised visit serves: each of these serves the wanted day nearest to it."""
    left = list(wanted)
    for day in promised:
        if left:
            left.remove(min(left, key=lambda one: abs(one - day)))
    return left


def _add_fees(agreement: Agreement, months: list[Month], until: dt.date) -> None:
    first = months[0].first
    for part in instalments(agreement):
        if first <= part.first <= min(until, agreement.last_day):
            months[_place(part.first, first)].sure_pence += part.pence
    if not agreement.renews_itself or agreement.ended_on is not None:
        return
    following = Agreement(
        starts_on=agreement.ends_on + ONE_DAY,
        ends_on=term_end(agreement.starts_on, agreement.ends_on),
        price_pence=agreement.price_of_next_term,
        charged_every_months=agreement.charged_every_months,
    )
    for part in instalments(following):
        if first <= part.first <= until and not hasattr(agreement, "followed_by"):
            months[_place(part.first, first)].if_renewed_pence += part.pence
