"""An agreement sold to Omar, with a price list: what the tests of this folder share."""

from __future__ import annotations

import datetime as dt
from typing import Any

from customers.models import AftercarePlan, Agreement, Organisation, Party, ServicePrice
from servicing.models import Emptying, System, Visit
from tests.make import make_organisation, make_person, make_system

BEGINS = dt.date(2026, 1, 1)
ENDS = dt.date(2026, 12, 31)
NOW = dt.datetime(2026, 11, 2, 10, tzinfo=dt.UTC)
PRICES = {
    "emptying": 18_000,
    "service": 9_000,
    "inspection": 6_000,
    "jetting": 12_000,
    "call_out": 9_500,
    "abortive": 4_500,
    "extra_litres": 2_500,
}


def make_firm() -> Organisation:
    """A firm with a price list from the first day of the year."""
    firm = make_organisation(phone="01632 960 111", sender_email="office@firm.example")
    for service, pence in PRICES.items():
        ServicePrice.objects.create(
            organisation=firm,
            service=service,
            valid_from=BEGINS,
            price_pence=pence,
            litres_included=3_000 if service == "emptying" else None,
        )
    return firm


def make_plan(firm: Organisation, **fields: Any) -> AftercarePlan:
    """One emptying and one inspection a year."""
    fields = {
        "name": "Full care",
        "price_pence": 24_000,
        "emptyings_per_year": 1,
        "inspections_per_year": 1,
        **fields,
    }
    return AftercarePlan.objects.create(organisation=firm, **fields)


def sell(firm: Organisation | None = None, **fields: Any) -> tuple[Agreement, System]:
    """An agreement written down on its first day at a household, paid by its owner Omar."""
    firm = firm or make_firm()
    system = fields.pop("system", None) or make_system(firm)
    system.premises.activity = "household"
    system.premises.save(update_fields=["activity"])
    omar = make_person(firm, name="Omar")
    Party.objects.create(premises=system.premises, person=omar, role="owner")
    fields = {
        "plan": fields.pop("plan", None) or make_plan(firm),
        "payer": omar,
        "starts_on": BEGINS,
        "ends_on": ENDS,
        "price_pence": 24_000,
        **fields,
    }
    made = Agreement.objects.create(organisation=firm, premises=system.premises, **fields)
    written_down(made, made.starts_on)
    return made, system


def written_down(agreement: Agreement, day: dt.date) -> None:
    """Let an agreement have been put on record at noon of a day."""
    agreement.created_at = dt.datetime.combine(day, dt.time(12), tzinfo=dt.UTC)
    Agreement.objects.filter(pk=agreement.pk).update(created_at=agreement.created_at)


def visit(system: System, day: dt.date, litres: int | None = None, **fields: Any) -> Visit:
    """A visit, with an emptying where litres were taken out."""
    made = Visit.objects.create(
        organisation=system.organisation,
        system=system,
        visited_on=day,
        **{"lid_back_on": True, **fields},
    )
    if litres is not None:
        Emptying.objects.create(visit=made, litres_removed=litres)
    return made
