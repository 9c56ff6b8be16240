"""Fourteen months of visits in the invented valley, as crews would have found things."""

from __future__ import annotations

import datetime as dt
import random
from typing import TYPE_CHECKING

from servicing.models import ChamberFinding, Dip, Emptying, System, Tank, Visit

if TYPE_CHECKING:
    from customers.models import Organisation
    from scheduler.demo.systems import Made

MONTHS_OF_VISITS_DAYS = 425
EXPONENT = 0.85  # the first year is front-loaded: Gray 1995
UNKNOWN = 4  # systems of which nobody knows when they were emptied
THIRD = 1 / 3


def add_visits(
    organisation: Organisation, made: list[Made], *, dice: random.Random, today: dt.date
) -> None:
    """Emptyings and dips up to today; older ones are known by their date alone."""
    holding = [one for one in made if one.system.holds_sludge]
    for one in holding[UNKNOWN:]:
        tank = one.system.tanks.first()
        volume = (tank.working_volume_litres if tank else None) or 2800
        since = years_since(organisation, one, volume, dice)
        emptied = clear_of_weekend(today - dt.timedelta(days=max(3, round(since * 365.25))))
        if one.system.installed_on and emptied < one.system.installed_on:
            emptied = one.system.installed_on
        one.system.last_emptied_on = emptied
        if one.system.kind == System.Kind.PACKAGE_PLANT:
            one.system.last_serviced_on = today - dt.timedelta(days=dice.randint(10, 370))
        one.system.save(update_fields=["last_emptied_on", "last_serviced_on"])
        recent = (today - emptied).days <= MONTHS_OF_VISITS_DAYS
        if recent:
            add_emptying(organisation, one.system, emptied, volume, dice)
        if (today - emptied).days > 150 and dice.random() < 0.9:
            add_dip(organisation, one, tank, volume, emptied, dice=dice, today=today)
    for one in made:
        if dice.random() < 0.25:
            add_look(organisation, one.system, dice=dice, today=today)


def years_since(organisation: Organisation, one: Made, volume: float, dice: random.Random) -> float:
    """How long ago a system was emptied, in years."""
    full_after = (THIRD * volume / one.litres_a_year) ** (1 / EXPONENT)
    longest = 4.0 if organisation.interval_override_months else 1.05
    since = min(dice.uniform(0.02, 0.68) * full_after, dice.uniform(0.1, 1) * longest)
    if one.system.kind == System.Kind.CESSPOOL:
        return dice.uniform(0.01, 0.07)  # it takes everything, and is full within weeks
    return float(since)


def clear_of_weekend(day: dt.date) -> dt.date:
    """The same day, or the Friday before."""
    return day - dt.timedelta(days=max(0, day.weekday() - 4))


def new_visit(organisation: Organisation, system: System, day: dt.date, crew: str) -> Visit:
    """A visit that ended well."""
    return Visit.objects.create(
        organisation=organisation,
        system=system,
        visited_on=day,
        crew_name=crew,
        ground=Visit.Ground.DRY,
        cautions_read=True,
        lid_back_on=True,
    )


def add_emptying(
    organisation: Organisation, system: System, day: dt.date, volume: float, dice: random.Random
) -> None:
    """The tanker came."""
    visit = new_visit(organisation, system, day, "Tess Underhay")
    Emptying.objects.create(
        visit=visit,
        litres_removed=round(volume * dice.uniform(0.92, 1.05), -1),
        refilled_with_water=True,
        tipped_at="Nether Marl works",
        tip_ticket=f"NM{dice.randint(10000, 99999)}",
    )


def add_dip(
    organisation: Organisation,
    one: Made,
    tank: Tank | None,
    volume: float,
    emptied: dt.date,
    *,
    dice: random.Random,
    today: dt.date,
) -> None:
    """A dip some time since the last emptying, as a core sampler would have read it."""
    if tank is None:
        return
    days = dice.uniform(0.5, 0.95) * (today - emptied).days
    day = clear_of_weekend(emptied + dt.timedelta(days=round(days)))
    years = max(1, (day - emptied).days) / 365.25
    litres = 0.05 * volume + one.litres_a_year * years**EXPONENT
    litres = min(litres * dice.gauss(1, 0.12), 0.9 * volume)
    visit = new_visit(organisation, one.system, day, "Perran Ashdeep")
    if tank.shape == Tank.Shape.RECTANGULAR and tank.width_mm and tank.length_mm:
        depth = litres * 1e6 / (tank.width_mm * tank.length_mm)
        scum = round(depth * 0.27 / 5) * 5
        sludge = round(depth * 0.73 / 10) * 10
        Dip.objects.create(visit=visit, tank=tank, sludge_mm=sludge, scum_mm=scum)
    else:
        Dip.objects.create(visit=visit, tank=tank, litres=round(max(0, litres), -1))


def add_look(
    organisation: Organisation, system: System, *, dice: random.Random, today: dt.date
) -> None:
    """A look into the chambers."""
    day = clear_of_weekend(today - dt.timedelta(days=dice.randint(15, MONTHS_OF_VISITS_DAYS)))
    chambers = list(system.chambers.all())
    if not chambers or (system.installed_on and day < system.installed_on):
        return
    visit = new_visit(organisation, system, day, "Perran Ashdeep")
    for chamber in chambers:
        kinds = list(ChamberFinding.Debris)
        debris = dice.choices(kinds, [60, 12, 12, 6, 4, 3, 1, 1, 1])[0]
        amount = 0 if debris == ChamberFinding.Debris.NONE else dice.choice([1, 1, 2, 3])
        ChamberFinding.objects.create(
            visit=visit,
            chamber=chamber,
            debris=debris,
            amount=amount,
            action="cleared" if amount else "left",
        )
        chamber.last_inspected_on = max(day, chamber.last_inspected_on or day)
        chamber.save(update_fields=["last_inspected_on"])
