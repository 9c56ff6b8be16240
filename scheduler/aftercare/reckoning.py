"""What a visit costs its customer: included and not charged, or a line each, exactly once."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils import timezone

from customers.agreement_terms import year_around
from customers.country_rules import RuleBook
from customers.models import Agreement, Service, ServicePrice
from customers.models.plans import COUNT_FIELDS
from customers.vat import line_of, price_list
from scheduler.aftercare.lines import (
    About,
    charging_begins,
    day_words,
    take_back,
    who_pays,
    write_charge,
)
from scheduler.aftercare.tip_costs import tip_cost_of
from scheduler.aftercare.work_done import with_work, work_of
from scheduler.models import Reckoning
from servicing.models import Visit

if TYPE_CHECKING:
    from collections.abc import Mapping

    from customers.models import Organisation

Outcome = Reckoning.Outcome
Why = Visit.Abandoned
# A visit that came to nothing for these reasons is the customer's to answer for: common practice,
# no source. Weather, works, tanker and danger are not.
CUSTOMERS_REASONS = frozenset({Why.NO_ACCESS, Why.LOCKED_GATE, Why.DOG, Why.REFUSED})
CORRECTED = "The record of the visit was corrected."
EACH_LITRES = 1000


@dataclass(frozen=True)
class Case:
    """One visit with all that decides what it costs."""

    visit: Visit
    agreement: Agreement | None
    prices: Mapping[Service, ServicePrice]
    rules: RuleBook

    @property
    def litres(self) -> int:
        """Litres taken out."""
        emptying = getattr(self.visit, "emptying", None)
        return round(emptying.litres_removed or 0) if emptying else 0


def reckon_visits_of(organisation: Organisation, *, now: dt.datetime | None = None) -> int:
    """Reckon every visit that has not been; give their number. Run often, it does each once."""
    begins = charging_begins(organisation)
    if begins is None:
        return 0
    done = Reckoning.objects.filter(visit=OuterRef("pk"))
    visits = Visit.objects.filter(
        ~Exists(done),
        system__organisation=organisation,
        visited_on__gte=begins,
        replaced_by__isnull=True,
        carried_out_by_others=False,
    ).order_by("visited_on", "pk")
    ids = list(visits.values_list("pk", flat=True))
    for pk in ids:
        reckon(with_work(Visit.objects.filter(pk=pk)).get(), now=now or timezone.now())
    return len(ids)


@transaction.atomic
def reckon(visit: Visit, *, now: dt.datetime) -> None:
    """Say of each kind of work on a visit whether it is included or charged. Once for a visit."""
    visit = Visit.objects.select_for_update(of=("self",)).get(pk=visit.pk)
    if visit.reckonings.exists() or visit.replaced_by_id is not None:
        return
    _take_back_earlier(visit, now)
    case = _case_of(visit)
    if visit.abandoned_because:
        _abortive(case, now)
        return
    services = work_of(visit)
    for service in services:
        _work(case, service, now)
    if Service.EMPTYING in services:
        _litres_above(case, now)
        _tip(case, now)
    if not services:
        _note(case, Service.COVER, Outcome.FREE, now, words="No work that is charged.")


def _case_of(visit: Visit) -> Case:
    system = visit.system
    agreements = Agreement.objects.covering(visit.visited_on).filter(premises=system.premises_id)
    found = agreements.select_related("plan", "payer", "follows").order_by("-starts_on", "-pk")
    organisation = system.organisation
    return Case(
        visit=visit,
        agreement=found.first(),
        prices=price_list(organisation, visit.visited_on),
        rules=RuleBook(organisation.profile, visit.visited_on),
    )


def _work(case: Case, service: Service, now: dt.datetime) -> None:
    agreement = case.agreement
    if agreement is not None:
        count = getattr(agreement.plan, COUNT_FIELDS[service])
        used = used_of(agreement, case.visit, service)
        if used < count:
            words = f"{used + 1} of {count} in this year of the agreement"
            _note(case, service, Outcome.INCLUDED, now, words=words)
            return
    _charge(case, service, now, words=f"{service.label}, {day_words(case.visit.visited_on)}")


def used_of(agreement: Agreement, visit: Visit, service: str) -> int:
    """Included visits of a kind used at the system in the year of the agreement around a visit.

    An agreement that went with the house goes on counting where the one before it stopped.
    """
    first, chain = agreement, [agreement.pk]
    while first.followed_how == Agreement.Followed.SALE and first.follows is not None:
        first = first.follows
        chain.append(first.pk)
    year = year_around(first, visit.visited_on)
    return Reckoning.objects.filter(
        agreement__in=chain,
        service=service,
        outcome=Outcome.INCLUDED,
        visit__system=visit.system_id,
        visit__visited_on__range=(year.first, year.last),
    ).count()


def _litres_above(case: Case, now: dt.datetime) -> None:
    """Litres above what the plan or the price of an emptying allows, each 1,000 begun."""
    included = case.visit.reckonings.filter(
        service=Service.EMPTYING, outcome=Outcome.INCLUDED
    ).exists()
    if included and case.agreement is not None:
        allowed = case.agreement.plan.emptying_litres_included
    else:
        price = case.prices.get(Service.EMPTYING)
        allowed = price.litres_included if price else None
    above = 0 if allowed is None else max(0, case.litres - allowed)
    if above:
        thousands = -(-above // EACH_LITRES)
        words = f"{above:,} litres above {allowed:,}, {day_words(case.visit.visited_on)}"
        _charge(case, Service.EXTRA_LITRES, now, words=words, times=thousands)


def _tip(case: Case, now: dt.datetime) -> None:
    """The works' charge where the plan passes it on, with what the price list adds for it."""
    if case.agreement is None or not case.agreement.plan.passes_on_tip_charge:
        return
    cost = tip_cost_of(case.visit)
    if cost is None:
        words = "The works or its charge is not known."
        _note(case, Service.TIP, Outcome.NO_PRICE, now, words=words)
        return
    price = case.prices.get(Service.TIP)
    pence = cost + (price.price_pence if price else 0)
    words = f"Charge of the works, {day_words(case.visit.visited_on)}"
    _charge(case, Service.TIP, now, words=words, pence=pence)


def _abortive(case: Case, now: dt.datetime) -> None:
    reason = case.visit.get_abandoned_because_display()
    is_theirs = case.visit.abandoned_because in CUSTOMERS_REASONS
    if not is_theirs or Service.ABORTIVE not in case.prices:
        _note(case, Service.ABORTIVE, Outcome.FREE, now, words=f"Abandoned: {reason.lower()}.")
        return
    words = f"Abortive visit, {day_words(case.visit.visited_on)}: {reason.lower()}"
    _charge(case, Service.ABORTIVE, now, words=words)


def _charge(
    case: Case,
    service: Service,
    now: dt.datetime,
    *,
    words: str,
    times: int = 1,
    pence: int | None = None,
) -> None:
    """A line at the price of the list, or a note that there is none."""
    if pence is None and service not in case.prices:
        _note(case, service, Outcome.NO_PRICE, now, words="Not in the price list of that day.")
        return
    net = case.prices[service].price_pence * times if pence is None else pence
    visit, premises = case.visit, case.visit.system.premises
    payer = case.agreement.payer if case.agreement else None
    about = About(
        organisation=visit.system.organisation,
        premises=premises,
        payer=payer or who_pays(premises, visit.visited_on),
        charged_on=visit.visited_on,
        agreement=case.agreement,
        job=getattr(visit, "job", None),
        visit=visit,
    )
    charge = write_charge(
        about,
        key=f"visit:{visit.public_id.hex}:{service}",
        line=line_of(service, net, premises.activity, case.rules),
        words=words,
    )
    Reckoning.objects.create(
        organisation=about.organisation,
        visit=visit,
        service=service,
        outcome=Outcome.CHARGED,
        agreement=case.agreement,
        charge=charge,
        words=words[:200],
        reckoned_at=now,
    )


def _note(case: Case, service: Service, outcome: Outcome, now: dt.datetime, *, words: str) -> None:
    """What is included, free, or has no price."""
    Reckoning.objects.create(
        organisation=case.visit.system.organisation,
        visit=case.visit,
        service=service,
        outcome=outcome,
        agreement=case.agreement,
        words=words[:200],
        reckoned_at=now,
    )


def _take_back_earlier(visit: Visit, now: dt.datetime) -> None:
    """A corrected record counts instead of the one it corrects."""
    earlier = getattr(visit, "replaces", None)
    if earlier is None:
        return
    for one in earlier.reckonings.select_related("charge"):
        if one.charge is not None:
            take_back(one.charge, because=CORRECTED, on=now.date())
        one.charge, one.outcome, one.words = None, Outcome.FREE, CORRECTED
        one.save(update_fields=["charge", "outcome", "words"])
