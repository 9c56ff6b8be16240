"""Fourteen months of visits in the invented valley, as crews would have found things."""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from servicing.models import ChamberFinding, Dip, Emptying, System, Tank, Visit

if TYPE_CHECKING:
    from customers.models import Organisation
    from scheduler.demo.systems import Made

MONTHS_OF_VISITS_DAYS = 425
EXPONENT = 0.85  # the first year is front-loaded: Gray 1995
UNKNOWN = 4  # systems of which nobody knows when they were emptied
THIRD = 1 / 3
READING_ERROR = 0.027


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that came to be known on a day, and how it is written down."""

    on: dt.date
    write: Callable[[], object]


def visits_until(
    organisation: Organisation, made: list[Made], *, dice: random.Random, today: dt.date
) -> list[Happening]:
    """Emptyings, dips and looks up to today in the order of their days, none written yet.

    What happened before our record began is known by its date alone.
    """
    found: list[Happening] = []
    holding = [one for one in made if one.system.holds_sludge]
    for one in holding[UNKNOWN:]:
        tank = one.system.tanks.first()
        volume = (tank.working_volume_litres if tank else None) or 2800
        since = years_since(organisation, one, volume, dice)
        emptied = clear_of_weekend(today - dt.timedelta(days=max(3, round(since * 365.25))))
        if one.system.installed_on and emptied < one.system.installed_on:
            emptied = one.system.installed_on
        if one.system.kind == System.Kind.PACKAGE_PLANT:
            serviced = today - dt.timedelta(days=dice.randint(10, 370))
            found.append(_now_known(one.system, serviced, "last_serviced_on"))
        if (today - emptied).days <= MONTHS_OF_VISITS_DAYS:
            _now_known(one.system, _emptied_before(one.system, emptied), "last_emptied_on").write()
            found.append(an_emptying(organisation, one.system, emptied, volume, dice))
        found.append(_now_known(one.system, emptied, "last_emptied_on"))
        if (today - emptied).days > 150 and dice.random() < 0.9 and tank is not None:
            found.append(a_dip(organisation, one, tank, volume, emptied, dice=dice, today=today))
    for one in made:
        if dice.random() < 0.25:
            found += looks(organisation, one.system, dice=dice, today=today)
    return sorted(found, key=lambda one: one.on)


def _now_known(system: System, day: dt.date, name: str) -> Happening:
    """A date of the register, known from that day on."""

    def write() -> None:
        setattr(system, name, day)
        system.save(update_fields=[name])

    return Happening(day, write)


def _emptied_before(system: System, emptied: dt.date) -> dt.date:
    """When it was emptied the time before, as the register had it until then."""
    days = 30 if system.kind == System.Kind.CESSPOOL else 3 * 365
    before = emptied - dt.timedelta(days=days)
    return max(before, system.installed_on) if system.installed_on else before


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


def an_emptying(
    organisation: Organisation, system: System, day: dt.date, volume: float, dice: random.Random
) -> Happening:
    """The tanker came."""
    litres = round(volume * dice.uniform(0.92, 1.05), -1)
    ticket = f"NM{dice.randint(10000, 99999)}"

    def write() -> None:
        Emptying.objects.create(
            visit=new_visit(organisation, system, day, "Tess Underhay"),
            litres_removed=litres,
            refilled_with_water=True,
            tipped_at="Nether Marl works",
            tip_ticket=ticket,
        )

    return Happening(day, write)


def a_dip(
    organisation: Organisation,
    one: Made,
    tank: Tank,
    volume: float,
    emptied: dt.date,
    *,
    dice: random.Random,
    today: dt.date,
) -> Happening:
    """A dip some time since the last emptying, as a core sampler would have read it."""
    days = dice.uniform(0.5, 0.95) * (today - emptied).days
    day = clear_of_weekend(emptied + dt.timedelta(days=round(days)))
    years = max(1, (day - emptied).days) / 365.25
    litres = 0.05 * volume + one.litres_a_year * years**EXPONENT
    litres *= dice.gauss(1, 0.12)
    # Dice of its own: a stick is read 40 mm wrong, about as much of the volume.
    litres += random.Random(one.system.reference).gauss(0, READING_ERROR * volume)
    litres = min(max(litres, 0.01 * volume), 0.9 * volume)
    if tank.shape == Tank.Shape.RECTANGULAR and tank.width_mm and tank.length_mm:
        depth = litres * 1e6 / (tank.width_mm * tank.length_mm)
        read: dict[str, float] = {
            "sludge_mm": round(depth * 0.73 / 10) * 10,
            "scum_mm": round(depth * 0.27 / 5) * 5,
        }
    else:
        read = {"litres": round(max(0, litres), -1)}

    def write() -> None:
        visit = new_visit(organisation, one.system, day, "Perran Ashdeep")
        Dip.objects.create(visit=visit, tank=tank, **read)

    return Happening(day, write)


def looks(
    organisation: Organisation, system: System, *, dice: random.Random, today: dt.date
) -> Iterator[Happening]:
    """A look into the chambers."""
    day = clear_of_weekend(today - dt.timedelta(days=dice.randint(15, MONTHS_OF_VISITS_DAYS)))
    chambers = list(system.chambers.all())
    if not chambers or (system.installed_on and day < system.installed_on):
        return
    kinds = list(ChamberFinding.Debris)
    found = []
    for chamber in chambers:
        debris = dice.choices(kinds, [60, 12, 12, 6, 4, 3, 1, 1, 1])[0]
        amount = 0 if debris == ChamberFinding.Debris.NONE else dice.choice([1, 1, 2, 3])
        found.append((chamber, debris, amount))

    def write() -> None:
        visit = new_visit(organisation, system, day, "Perran Ashdeep")
        for chamber, debris, amount in found:
            ChamberFinding.objects.create(
                visit=visit,
                chamber=chamber,
                debris=debris,
                amount=amount,
                action="cleared" if amount else "left",
            )
            chamber.last_inspected_on = max(day, chamber.last_inspected_on or day)
            chamber.save(update_fields=["last_inspected_on"])

    yield Happening(day, write)
