"""Correcting what the register says is in the ground and how it is used.

Each verb checks access, writes only what it was given, and forecasts the system afresh: a number
that was corrected must not leave yesterday's date standing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction

from customers import access
from servicing.forecasts import refresh_forecast
from servicing.models import Chamber, DrainageField, Occupancy, Tank
from servicing.registration import refresh_search_text

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from customers.models import User
    from servicing.models import System


@transaction.atomic
def change_system(*, system: System, by: User, facts: Mapping[str, Any], today: dt.date) -> System:
    """Correct fields of a system."""
    access.require_change(by, system)
    write(system, facts, "changed_at")
    refresh_search_text([system])
    refresh_forecast(system, today=today)
    return system


@transaction.atomic
def set_tank(
    *, system: System, tank: Tank | None, by: User, facts: Mapping[str, Any], today: dt.date
) -> Tank:
    """Correct a tank of the system, or add one behind the others when `tank` is None."""
    access.require_change(by, system)
    if tank is None:
        last = system.tanks.order_by("position").last()
        tank = Tank(system=system, position=last.position + 1 if last else 1, **facts)
        tank.save()
    else:
        write(tank, facts)
    refresh_forecast(system, today=today)
    return tank


@transaction.atomic
def set_occupancy(
    *, system: System, by: User, facts: Mapping[str, Any], told_by: str, today: dt.date
) -> Occupancy:
    """Say who uses a system from a day on. The same day and use again corrects that row."""
    access.require_change(by, system)
    fields = dict(facts)
    key = {"since": fields.pop("since"), "use": fields.pop("use")}
    row = system.occupancies.filter(**key).first()
    if row is None:
        row = Occupancy.objects.create(system=system, told_by=told_by, **key, **fields)
    else:
        write(row, {**fields, "told_by": told_by})
    refresh_forecast(system, today=today)
    return row


@transaction.atomic
def set_chamber(
    *,
    system: System,
    chamber: Chamber | None,
    by: User,
    facts: Mapping[str, Any],
    today: dt.date,
) -> Chamber:
    """Correct a chamber of the system, or add one when `chamber` is None."""
    access.require_change(by, system)
    if chamber is None:
        chamber = Chamber.objects.create(system=system, **facts)
    else:
        write(chamber, facts)
    refresh_forecast(system, today=today)
    return chamber


@transaction.atomic
def set_drainage_field(*, system: System, by: User, facts: Mapping[str, Any]) -> DrainageField:
    """Say what is known of where the effluent soaks away."""
    access.require_change(by, system)
    field, _ = DrainageField.objects.update_or_create(system=system, defaults=dict(facts))
    return field


@transaction.atomic
def override_ceiling(
    *, system: System, months: int | None, reason: str, by: User, today: dt.date
) -> System:
    """Record a longest interval against the usual rule, or take it back with `months` None.

    Raises ValueError for an override without a reason.
    """
    access.require_change(by, system)
    if months is not None and not reason.strip():
        message = "An interval against the rule needs a reason."
        raise ValueError(message)
    write(
        system,
        {
            "ceiling_override_months": months,
            "ceiling_override_reason": reason.strip() if months is not None else "",
            "ceiling_override_by": by if months is not None else None,
        },
        "changed_at",
    )
    refresh_forecast(system, today=today)
    return system


def write(row: Any, facts: Mapping[str, Any], *also: str) -> None:
    """Write these fields of a row and no other, and those that follow from any change."""
    for name, value in facts.items():
        setattr(row, name, value)
    if facts:
        row.save(update_fields=[*facts, *also])
