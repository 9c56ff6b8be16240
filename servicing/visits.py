"""Recording a visit, and correcting a record without losing what it said before."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, replace
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Max

from customers import access
from servicing.forecasts import refresh_forecast
from servicing.models import (
    ChamberFinding,
    Defect,
    Dip,
    Emptying,
    FieldFinding,
    PlantCheck,
    System,
    Visit,
)
from servicing.photos import give_photos, hand_on_proof
from servicing.visit_checks import refusals_of
from servicing.visit_facts import Refusal, VisitRefused

if TYPE_CHECKING:
    from customers.models import Organisation, User
    from servicing.visit_facts import VisitFound


@transaction.atomic
def record_visit(
    *,
    system: System,
    found: VisitFound,
    by: User,
    today: dt.date,
    done_by: Organisation | None = None,
) -> Visit:
    """Write down a visit, its readings and what follows from them; gives the visit.

    The same `sheet_key` again gives the visit already recorded. `done_by` is the organisation
    whose crew went, where the work was handed over: the caller vouches for that. Raises
    VisitRefused when what was found cannot be, PermissionDenied when `by` may not record it.
    """
    access.require(by, "visit", done_by or system.organisation)
    system = locked(system)
    before = Visit.objects.filter(sheet_key=found.sheet_key).first()
    if before is not None:
        return same_visit(before, system)
    check(system, found, today, done_by)
    visit = write_visit(system, found, by)
    take_over_dates(system)
    refresh_forecast(system, today=today)
    return visit


@transaction.atomic
def correct_visit(
    *,
    visit: Visit,
    found: VisitFound,
    by: User,
    today: dt.date,
    done_by: Organisation | None = None,
) -> Visit:
    """Record what should have been written; the old record is kept and named as replaced."""
    access.require(by, "visit", done_by or visit.organisation)
    system = locked(visit.system)
    old = Visit.objects.select_related("replaced_by").get(pk=visit.pk)
    if old.replaced_by is not None:
        if old.replaced_by.sheet_key == found.sheet_key:
            return old.replaced_by
        raise VisitRefused(Refusal("sheet_key", "This record has been corrected already."))
    check(system, found, today, done_by)
    new = write_visit(system, with_ticket_of(old, found), by)
    old.replaced_by = new
    old.save(update_fields=["replaced_by", "changed_at"])
    hand_on_proof(old, new)
    take_back_dates(system, old)
    take_over_dates(system)
    refresh_forecast(system, today=today)
    return new


def with_ticket_of(old: Visit, found: VisitFound) -> VisitFound:
    """What was found, with the tip ticket of the record it replaces where it names none."""
    emptying: Emptying | None = getattr(old, "emptying", None)
    if found.removal is None or found.removal.tip_ticket or emptying is None:
        return found
    removal = replace(found.removal, tipped_at=emptying.tipped_at, tip_ticket=emptying.tip_ticket)
    return replace(found, removal=removal)


def locked(system: System) -> System:
    """Read the system again for changing, so that two sheets at once come one after the other."""
    return (
        System.objects.select_for_update(of=("self",))
        .select_related("organisation", "premises__organisation")
        .get(pk=system.pk)
    )


def same_visit(before: Visit, system: System) -> Visit:
    """The visit a repeated sheet stands for."""
    if before.system_id != system.pk:
        raise VisitRefused(Refusal("sheet_key", "This sheet was used for another system."))
    return before


def check(system: System, found: VisitFound, today: dt.date, done_by: Organisation | None) -> None:
    """Raise VisitRefused with all that speaks against the visit."""
    units = (done_by or system.organisation).units
    refusals = refusals_of(system=system, found=found, today=today, units=units)
    if refusals:
        raise VisitRefused(*refusals)


def write_visit(system: System, found: VisitFound, by: User) -> Visit:
    """Add the rows of a visit."""
    visit = Visit.objects.create(
        organisation=system.organisation,
        system=system,
        recorded_by=by,
        visited_on=found.visited_on,
        sheet_key=found.sheet_key,
        arrived_at=found.arrived_at,
        left_at=found.left_at,
        crew_name=found.crew_name,
        vehicle_registration=found.vehicle_registration,
        carried_out_by_others=found.carried_out_by_others,
        ground=found.ground,
        who_was_present=found.who_was_present,
        abandoned_because=found.abandoned_because,
        cautions_read=found.cautions_read,
        cautions_read_at=found.cautions_read_at,
        no_photo_because=found.no_photo_because,
        signed_how=found.signed_how,
        signed_by=found.signed_by,
        signature=found.signature,
        lid_back_on=found.lid_back_on,
        serviced=found.serviced,
        notes=found.notes,
    )
    write_readings(visit, found)
    give_photos(visit)
    return visit


def write_readings(visit: Visit, found: VisitFound) -> None:
    """Add what was read, taken out, seen and found wrong."""
    for dip in found.dips:
        Dip.objects.create(
            visit=visit,
            tank=dip.tank,
            sludge_mm=dip.sludge_mm,
            scum_mm=dip.scum_mm,
            litres=dip.litres,
            liquid_level_mm=dip.liquid_level_mm,
            method=dip.method,
            after_removal=dip.after_removal,
            entered=dict(dip.entered),
        )
    if found.removal is not None:
        Emptying.objects.create(visit=visit, **asdict(found.removal))
    for one in found.chambers:
        ChamberFinding.objects.create(
            visit=visit,
            chamber=one.chamber,
            debris=one.debris,
            amount=one.amount,
            standing_water_mm=one.standing_water_mm,
            flow=one.flow,
            action=one.action,
            notes=one.notes,
        )
    if found.drainage_field is not None:
        FieldFinding.objects.create(visit=visit, **asdict(found.drainage_field))
    if found.plant is not None:
        PlantCheck.objects.create(visit=visit, **asdict(found.plant))
    Defect.objects.bulk_create(Defect(visit=visit, **asdict(one)) for one in found.defects)


def take_over_dates(system: System) -> None:
    """Carry the newest emptying, service and looks into the chambers over to the system.

    An emptying that left a compartment untouched is no emptying of the system. A date known from
    elsewhere stays when it is later.
    """
    counted = system.visits.that_count()
    emptied = counted.filter(emptying__all_compartments=True).aggregate(day=Max("visited_on"))
    serviced = counted.filter(serviced=True).aggregate(day=Max("visited_on"))
    changed = []
    for field, day in (
        ("last_emptied_on", emptied["day"]),
        ("last_serviced_on", serviced["day"]),
    ):
        known = getattr(system, field)
        if day is not None and (known is None or day > known):
            setattr(system, field, day)
            changed.append(field)
    if changed:
        system.save(update_fields=[*changed, "changed_at"])
    for chamber in system.chambers.all():
        seen = counted.filter(chamber_findings__chamber=chamber).aggregate(day=Max("visited_on"))
        day, known = seen["day"], chamber.last_inspected_on
        if day is not None and (known is None or day > known):
            chamber.last_inspected_on = day
            chamber.save(update_fields=["last_inspected_on"])


def take_back_dates(system: System, replaced: Visit) -> None:
    """Undo the dates that came from a record now replaced: back to what was known before it."""
    day = replaced.visited_on
    changed = []
    for field in ("last_emptied_on", "last_serviced_on"):
        if getattr(system, field) == day:
            setattr(system, field, date_before(system, field, day))
            changed.append(field)
    if changed:
        system.save(update_fields=[*changed, "changed_at"])
    for chamber in system.chambers.filter(last_inspected_on=day):
        chamber.last_inspected_on = date_before(chamber, "last_inspected_on", day)
        chamber.save(update_fields=["last_inspected_on"])


def date_before(row: object, field: str, day: dt.date) -> dt.date | None:
    """What `field` said last before it said `day`, from the row's own history."""
    values = row.history.order_by("-history_date", "-history_id").values_list(  # type: ignore[attr-defined]
        field, flat=True
    )
    earlier: dt.date | None = next((value for value in values if value != day), None)
    return earlier
