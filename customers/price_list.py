"""Prices from a day on: of plans, and of single pieces of work."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction

from customers import access
from customers.models import PlanPrice, ServicePrice

if TYPE_CHECKING:
    from customers.models import AftercarePlan, Organisation, User


@transaction.atomic
def set_plan_price(
    *, plan: AftercarePlan, valid_from: dt.date, price_pence: int, why: str, by: User
) -> PlanPrice:
    """What a plan costs for agreements that start on that day or later."""
    access.require_change(by, plan)
    row, _ = PlanPrice.objects.update_or_create(
        plan=plan, valid_from=valid_from, defaults={"price_pence": price_pence, "why": why}
    )
    return row


@transaction.atomic
def set_service_price(
    *,
    organisation: Organisation,
    service: str,
    valid_from: dt.date,
    price_pence: int,
    by: User,
    litres_included: int | None = None,
) -> ServicePrice:
    """What a piece of work costs from a day on; what was charged already stays as it is."""
    access.require(by, "register", organisation)
    row, _ = ServicePrice.objects.update_or_create(
        organisation=organisation,
        service=service,
        valid_from=valid_from,
        defaults={"price_pence": price_pence, "litres_included": litres_included},
    )
    return row
