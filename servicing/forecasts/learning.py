"""What an organisation's own systems teach, worked out now and then and kept."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.db.models import Exists, OuterRef
from django.utils import timezone

from customers.country_rules import RuleBook
from servicing.forecasting.accumulation import BOOK_PRIOR
from servicing.forecasting.chamber_fleet import learn_chambers
from servicing.forecasting.chambers import ChamberFacts
from servicing.forecasting.faults import BadMeasure, FaultyFacts
from servicing.forecasting.fleet import learn_fleet
from servicing.forecasting.inspection_date import USUAL_CHAMBERS
from servicing.forecasts.chambers import chamber_facts, looks_of
from servicing.forecasts.facts import gather
from servicing.forecasts.reading import read_systems
from servicing.models import ChamberFinding, Dip, FleetLearning, System

if TYPE_CHECKING:
    from customers.models import Organisation
    from servicing.forecasting.facts import SystemFacts
    from servicing.forecasts.reading import OnRecord

# A lesson moves every forecast a little: not more often than weekly, and only on new evidence.
LEARN_AFTER_DAYS = 7
MOST_SYSTEMS = 1500
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
    rules = RuleBook(organisation.profile, today)
    measured = [
        facts
        for record in _spread_of(organisation, Dip)
        if (facts := _facts_of(record, organisation, rules)) is not None
    ]
    looked = _chambers_of(_spread_of(organisation, ChamberFinding), today=today)
    learned, _ = FleetLearning.objects.update_or_create(
        organisation=organisation,
        defaults={
            **_lesson(measured, today=today),
            **_lesson_of_chambers(looked, today=today),
            "evidence": evidence,
            "learned_on": today,
            "learned_at": timezone.now(),
        },
    )
    return learned


def evidence_of(organisation: Organisation) -> dict[str, int]:
    """Counts of what can teach: usable dips and looks of visits that count."""
    dips = Dip.objects.filter(visit__organisation=organisation, **COUNTING)
    looks = ChamberFinding.objects.filter(visit__organisation=organisation, **COUNTING)
    return {
        "dips": dips.exclude(method=Dip.Method.ESTIMATE).count(),
        "looks": looks.count(),
    }


def _spread_of(organisation: Organisation, model: Any) -> list[OnRecord]:
    """Record of the systems with such rows: at most MOST_SYSTEMS, evenly through the register."""
    rows = model.objects.filter(visit__system=OuterRef("pk"), **COUNTING)
    systems = System.objects.in_use().filter(organisation=organisation).filter(Exists(rows))
    ids = list(systems.order_by("pk").values_list("pk", flat=True))
    step = max(1, -(-len(ids) // MOST_SYSTEMS))
    return list(read_systems(ids[::step]).values())


def _facts_of(record: OnRecord, organisation: Organisation, rules: RuleBook) -> SystemFacts | None:
    if not record.system.holds_sludge:
        return None
    try:
        return gather(record, organisation=organisation, rules=rules, promise=None).facts
    except (BadMeasure, FaultyFacts):
        return None


def _lesson(measured: list[SystemFacts], *, today: dt.date) -> dict[str, Any]:
    """What the dips teach, rounded: a difference nobody can see is none."""
    learned = learn_fleet(measured, today=today)
    prior = learned.prior
    return {
        "median_rate": round(prior.median_rate, 1),
        "log_sd": round(prior.log_sd, 3),
        "exponent_weights": [round(weight, 3) for weight in prior.exponent_weights],
        "dip_error": round(prior.dip_error, 2),
        "systems": learned.systems,
        "dips": learned.dips,
        "repeat_pairs": learned.repeat_pairs,
    }


def _chambers_of(records: list[OnRecord], *, today: dt.date) -> list[ChamberFacts]:
    found = []
    for record in records:
        looks = looks_of(record.looks)
        found += [
            chamber_facts(record, chamber, looks[chamber.pk], today=today)
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
