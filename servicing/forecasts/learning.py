"""What an organisation's own systems teach, worked out now and then and kept."""

from __future__ import annotations

import datetime as dt
from itertools import chain
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils import timezone

from customers.country_rules import RuleBook
from servicing.forecasting.accumulation import BOOK_PRIOR
from servicing.forecasting.chamber_fleet import learn_chambers
from servicing.forecasting.chambers import ChamberFacts
from servicing.forecasting.faults import BadMeasure, FaultyFacts
from servicing.forecasting.fleet import FEWEST_FOR_OWN_STRATUM, learn_fleet, learn_strata
from servicing.forecasting.inspection_date import USUAL_CHAMBERS
from servicing.forecasts.chambers import chamber_facts, looks_of
from servicing.forecasts.circumstances import prior_of
from servicing.forecasts.facts import gather
from servicing.forecasts.reading import read_systems
from servicing.forecasts.strata import how_many, strata_of
from servicing.models import ChamberFinding, Dip, FleetLearning, StratumLearning, System

if TYPE_CHECKING:
    from collections.abc import Sequence

    from customers.models import Organisation
    from servicing.forecasting.facts import SystemFacts
    from servicing.forecasting.fleet import FleetLearned
    from servicing.forecasts.reading import OnRecord

# A lesson moves every forecast a little: not more often than weekly, and only on new evidence.
LEARN_AFTER_DAYS = 7
MOST_SYSTEMS = 1500
MOST_OF_A_STRATUM = 500
COUNTING = {"visit__abandoned_because": "", "visit__replaced_by__isnull": True}


def learn_fleet_of(organisation: Organisation, *, today: dt.date) -> FleetLearning | None:
    """Learn from an organisation's measurements and looks, if there are new ones.

    Gives the row in force; None while there is nothing to learn from. A second run on the same
    record changes nothing.
    """
    row = FleetLearning.objects.filter(organisation=organisation).first()
    evidence = evidence_of(organisation)
    if not any(evidence.values()) and row is None:
        return None
    young = row is not None and (today - row.learned_on).days < LEARN_AFTER_DAYS
    if row is not None and (young or row.evidence == evidence):
        return row
    dipped = _systems_with(organisation, Dip)
    of_strata = _spread_by_stratum(dipped)
    of_firm = _spread(dipped, MOST_SYSTEMS)
    known = _facts_of(sorted({*of_firm, *chain(*of_strata.values())}), organisation, today=today)
    firm = learn_fleet([known[pk] for pk in of_firm if pk in known], today=today)
    looked = _spread(_systems_with(organisation, ChamberFinding), MOST_SYSTEMS)
    chambers = _chambers_of(list(read_systems(looked).values()), organisation, today=today)
    with transaction.atomic():
        learned, _ = FleetLearning.objects.update_or_create(
            organisation=organisation,
            defaults={
                **_lesson(firm),
                **_lesson_of_chambers(chambers, today=today),
                "evidence": evidence,
                "learned_on": today,
                "learned_at": timezone.now(),
            },
        )
        strata = {name: [known[pk] for pk in ids if pk in known] for name, ids in of_strata.items()}
        _keep_strata(organisation, learn_strata(strata, today=today, fleet=prior_of(learned)))
    return learned


def _keep_strata(organisation: Organisation, lessons: dict[str, FleetLearned]) -> None:
    """Write the lesson of each kind of place that has one; what no longer has one loses it."""
    rows = StratumLearning.objects.filter(organisation=organisation)
    rows.exclude(stratum__in=lessons).delete()
    for stratum, learned in lessons.items():
        rows.update_or_create(organisation=organisation, stratum=stratum, defaults=_lesson(learned))


def evidence_of(organisation: Organisation) -> dict[str, int]:
    """Counts of what can teach: usable dips and looks of visits that count."""
    dips = Dip.objects.filter(visit__organisation=organisation, **COUNTING)
    looks = ChamberFinding.objects.filter(visit__organisation=organisation, **COUNTING)
    return {
        "dips": dips.exclude(method=Dip.Method.ESTIMATE).count(),
        "looks": looks.count(),
    }


def measured_systems(organisation: Organisation) -> dict[str, int]:
    """How many systems of each kind of place have been measured, whether or not they teach."""
    return how_many(_systems_with(organisation, Dip))


def _systems_with(organisation: Organisation, model: Any) -> list[int]:
    """Systems in use that have such rows of visits that count."""
    rows = model.objects.filter(visit__system=OuterRef("pk"), **COUNTING)
    systems = System.objects.in_use().filter(organisation=organisation).filter(Exists(rows))
    return list(systems.order_by("pk").values_list("pk", flat=True))


def _spread(ids: Sequence[int], most: int) -> list[int]:
    """At most so many of them, evenly through the register."""
    return list(ids[:: max(1, -(-len(ids) // most))])


def _spread_by_stratum(ids: Sequence[int]) -> dict[str, list[int]]:
    """At most MOST_OF_A_STRATUM of each kind of place that has enough to teach."""
    found: dict[str, list[int]] = {}
    for pk, stratum in strata_of(ids).items():
        found.setdefault(stratum, []).append(pk)
    return {
        stratum: _spread(some, MOST_OF_A_STRATUM)
        for stratum, some in found.items()
        if stratum and len(some) >= FEWEST_FOR_OWN_STRATUM
    }


def _facts_of(
    ids: Sequence[int], organisation: Organisation, *, today: dt.date
) -> dict[int, SystemFacts]:
    """Facts of those that hold sludge and can be read, by id."""
    rules = RuleBook(organisation.profile, today)
    found = {}
    for pk, record in read_systems(ids).items():
        if not record.system.holds_sludge:
            continue
        try:
            known = gather(record, organisation=organisation, rules=rules, promise=None)
        except (BadMeasure, FaultyFacts):
            continue
        found[pk] = known.facts
    return found


def _lesson(learned: FleetLearned) -> dict[str, Any]:
    """What the dips teach, rounded: a difference nobody can see is none."""
    prior = learned.prior
    return {
        "median_rate": round(prior.median_rate, 1),
        "log_sd": round(prior.log_sd, 3),
        "exponent_weights": [round(weight, 3) for weight in prior.exponent_weights],
        "dip_error": round(prior.dip_error, 2),
        "dip_doubt": round(prior.dip_doubt, 2),
        "systems": learned.systems,
        "dips": learned.dips,
        "repeat_pairs": learned.repeat_pairs,
    }


def _chambers_of(
    records: list[OnRecord], organisation: Organisation, *, today: dt.date
) -> list[ChamberFacts]:
    found = []
    for record in records:
        looks = looks_of(record.looks)
        found += [
            chamber_facts(
                record, chamber, looks[chamber.pk], today=today, organisation=organisation
            )
            for chamber in record.chambers
            if chamber.pk in looks
        ]
    return found


def _lesson_of_chambers(looked: list[ChamberFacts], *, today: dt.date) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for kind, many in (("chamber", "chambers"), ("filter", "filters")):
        learned = learn_chambers(looked, today=today, kind=kind)
        values[f"{kind}_rate"] = round(learned.mean_rate, 4)
        values[f"{kind}_shape"] = learned.shape
        values[many] = learned.chambers
    return values


def book_figures() -> dict[str, float]:
    """What the books say before a fleet has taught anything."""
    return {
        "median_rate": BOOK_PRIOR.median_rate,
        "dip_error": BOOK_PRIOR.dip_error,
        "chamber_rate": USUAL_CHAMBERS["chamber"].mean_rate,
        "filter_rate": USUAL_CHAMBERS["filter"].mean_rate,
    }
