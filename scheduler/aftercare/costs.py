"""What an agreement really cost: its visits by crew, road and works, against what it brought in."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from django.db.models import Avg, Sum

from customers.agreement_terms import instalments, used_days
from customers.models import Agreement
from customers.money import nearest, share_of_days
from scheduler.aftercare.tip_costs import tip_cost_of
from scheduler.aftercare.work_done import visits_of
from scheduler.models import Charge, Stop, Tanker
from servicing.models import System, Visit

if TYPE_CHECKING:
    from customers.models import Organisation

# Where no tanker says otherwise; the same as a new tanker's. Settings of ours, no source.
PENCE_PER_HOUR, PENCE_PER_KM = 2600, 85
# A visit of which no times are known took so long: common practice, no source.
USUAL_MINUTES = 45
LONGEST_MINUTES = 12 * 60  # longer is a sheet left open overnight
MINUTES_OF_DRIVE = 2.0  # for each kilometre: 30 km/h in lanes; common practice, no source
USUAL_KM = 12.0


@dataclass(frozen=True, slots=True)
class Rates:
    """What an hour and a kilometre cost."""

    pence_per_hour: int
    pence_per_km: int


@dataclass(slots=True)
class Cost:
    """An agreement, or several, in figures."""

    visits: int = 0
    minutes: int = 0
    metres: int = 0
    tip_pence: int = 0
    cost_pence: int = 0
    income_pence: int = 0
    guessed: int = 0

    @property
    def left_pence(self) -> int:
        """Income less cost: a minus is a loss."""
        return self.income_pence - self.cost_pence


def rates_of(organisation: Organisation) -> Rates:
    """Mean rates of the tankers that drive for an organisation; ours where it has none."""
    drives = organisation.tanker_operator_id or organisation.pk
    tankers = Tanker.objects.filter(organisation__in={drives, organisation.pk}, in_use=True)
    mean = tankers.aggregate(hour=Avg("pence_per_hour"), km=Avg("pence_per_km"))
    return Rates(
        round(mean["hour"]) if mean["hour"] else PENCE_PER_HOUR,
        round(mean["km"]) if mean["km"] else PENCE_PER_KM,
    )


def costs_of(
    organisation: Organisation, agreements: Iterable[Agreement], *, today: dt.date
) -> dict[int, Cost]:
    """Cost and income of each agreement from its first day until today, by its key.

    Income is the share of the fee for the days gone by and what was charged beside it, before VAT.
    """
    chosen = list(agreements)
    rates = rates_of(organisation)
    found: dict[int, Cost] = {one.pk: Cost() for one in chosen}
    at_place: defaultdict[int, list[Agreement]] = defaultdict(list)
    for agreement in chosen:
        at_place[agreement.premises_id].append(agreement)
        found[agreement.pk].income_pence = earned(agreement, today=today)
    _add_charges(found)
    if not chosen:
        return found
    systems = System.objects.filter(premises__in=at_place).values_list("pk", "premises_id")
    place_of = dict(systems)
    since = min(one.starts_on for one in chosen)
    visits = visits_of(place_of, since=since).filter(
        carried_out_by_others=False, visited_on__lte=today
    )
    stops = _stops_of(visits)
    for visit in visits:
        for agreement in at_place[place_of[visit.system_id]]:
            if agreement.starts_on <= visit.visited_on <= agreement.last_day:
                _add_visit(found[agreement.pk], visit, stops.get(visit.pk), rates)
    return found


def earned(agreement: Agreement, *, today: dt.date) -> int:
    """The fee for the days until today, instalment by instalment, before VAT."""
    until = min(today, agreement.last_day)
    return sum(
        share_of_days(part.pence, used_days(part, until), part.days)
        for part in instalments(agreement)
        if part.first <= until
    )


def _add_charges(found: dict[int, Cost]) -> None:
    """What was charged for visits beside the fee."""
    rows = (
        Charge.objects.that_count()
        .filter(agreement__in=found, visit__isnull=False)
        .order_by()
        .values_list("agreement")
        .annotate(net=Sum("net_pence"))
    )
    for agreement, net in rows:
        found[agreement].income_pence += net or 0


def _stops_of(visits: Iterable[Visit]) -> dict[int, Stop]:
    jobs = {job.pk: visit.pk for visit in visits if (job := getattr(visit, "job", None))}
    rows = Stop.objects.filter(job__in=jobs, round__accepted_at__isnull=False)
    return {jobs[stop.job_id]: stop for stop in rows.order_by("pk") if stop.job_id is not None}


def _add_visit(cost: Cost, visit: Visit, stop: Stop | None, rates: Rates) -> None:
    minutes, is_known = minutes_of(visit, stop)
    metres = stop.metres if stop is not None and stop.metres else round(USUAL_KM * 1000)
    is_known = is_known and stop is not None
    driven = round(metres / 1000 * MINUTES_OF_DRIVE)
    tip = tip_cost_of(visit) or 0
    cost.visits += 1
    cost.guessed += not is_known
    cost.minutes += minutes + driven
    cost.metres += metres
    cost.tip_pence += tip
    cost.cost_pence += tip + nearest(
        Fraction(rates.pence_per_hour * (minutes + driven), 60)
        + Fraction(rates.pence_per_km * metres, 1000)
    )


def minutes_of(visit: Visit, stop: Stop | None) -> tuple[int, bool]:
    """Minutes on site, and whether they were recorded."""
    pairs = [(visit.arrived_at, visit.left_at)]
    if stop is not None:
        pairs.append((stop.arrived_at, stop.left_at))
    for came, left in pairs:
        if came is not None and left is not None and left > came:
            minutes = round((left - came).total_seconds() / 60)
            if 0 < minutes <= LONGEST_MINUTES:
                return minutes, True
    job = getattr(visit, "job", None)
    return (job.minutes if job is not None else USUAL_MINUTES), False
