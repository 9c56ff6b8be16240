"""The systems of the invented valley, with the mess of real registers."""

from __future__ import annotations

import datetime as dt
import random
from dataclasses import dataclass
from typing import TYPE_CHECKING

from customers.models import Party, Person, Premises
from scheduler.demo.fleet import VALLEY
from scheduler.demo.names import LANES, VILLAGES, farm_names, person_name, postcode
from servicing.models import Chamber, DrainageField, Occupancy, System, Tank
from servicing.registration import refresh_search_text

if TYPE_CHECKING:
    from customers.models import Organisation

Kind = System.Kind
GALLON = 4.54609  # litres in an imperial gallon, by definition
SEPTIC_LITRES = (2800, 2800, 600 * GALLON, 3800, 3800, 1000 * GALLON, 6000)
PLANT_SETTLER_LITRES = (1200, 1500, 2200)
OWNERS = 200


@dataclass(slots=True)
class Made:
    """A system with what really goes on in it, which its register only half knows."""

    system: System
    persons: float
    litres_a_year: float
    # Since how many days its owner has an agreement, and whether that renews itself; None: has none.
    wish: tuple[int, bool] | None = None


def kinds(count: int) -> list[str]:
    """Mostly septic tanks; two cesspools, plants, traps, chambers and soakaways."""
    share = {Kind.PACKAGE_PLANT: 0.19, Kind.GREASE_TRAP: 0.03, Kind.CHAMBER: 0.03}
    made: list[str] = [*[Kind.CESSPOOL] * 2, *[Kind.SOAKAWAY] * 2]
    for kind, part in share.items():
        made += [kind] * round(count * part)
    return (made + [Kind.SEPTIC_TANK] * count)[:count]


def add_systems(
    organisation: Organisation, count: int, *, dice: random.Random, today: dt.date
) -> list[Made]:
    """Premises, people, systems and agreements of an installer."""
    names = farm_names(dice, count)
    order = kinds(count)
    dice.shuffle(order)
    # Omar owns a septic tank in the larger register, of which more is known than of the first few.
    settled = (place for place, kind in enumerate(order, 1) if kind == Kind.SEPTIC_TANK)
    omar = next(place for place in settled if place > 20) if count > 100 else 0
    made = []
    for number, (name, kind) in enumerate(zip(names, order, strict=True), start=1):
        place = add_premises(organisation, name, number, dice)
        add_people(organisation, place, dice, number, omars=number == omar)
        one = add_system(organisation, place, str(kind), number, dice=dice, today=today)
        made.append(one)
        if dice.random() < 0.6:
            one.wish = agreement_wish(dice)
    add_pub(organisation, made, dice=dice, today=today)
    refresh_search_text(
        System.objects.filter(organisation=organisation)
        .select_related("premises")
        .prefetch_related("premises__parties__person")
    )
    return made


def add_premises(
    organisation: Organisation, name: str, number: int, dice: random.Random
) -> Premises:
    """A place in one of six villages, with the access a lane gives."""
    village = number % len(VILLAGES)
    latitude, longitude = VALLEY
    narrow = dice.random() < 0.08
    placed = number not in {17, 88}  # two places nobody ever put on the map
    return Premises.objects.create(
        organisation=organisation,
        reference=f"P{number:04d}",
        name=name,
        address=f"{name}, {dice.choice(LANES)}",
        town=VILLAGES[village],
        postcode=postcode(village, dice),
        latitude=latitude + dice.uniform(-0.13, 0.13) if placed else None,
        longitude=longitude + dice.uniform(-0.18, 0.18) if placed else None,
        location_source=Premises.LocationSource.MAP if placed else "",
        gate_width_mm=2450 if narrow else dice.choice([None, 3000, 3500]),
        weight_limit_kg=18000 if narrow else None,
        hose_run_m=dice.choice([None, 10, 20, 30, 35]),
        level_difference_m=dice.choice([None, 0.5, 1.0, 2.5]),
        surface=dice.choice(list(Premises.Surface)),
        dog=dice.random() < 0.15,
        gate_code=str(dice.randint(1000, 9999)) if dice.random() < 0.1 else "",
        access_note="Ring when at the cattle grid." if dice.random() < 0.1 else "",
    )


def add_people(
    organisation: Organisation,
    place: Premises,
    dice: random.Random,
    number: int,
    *,
    omars: bool,
) -> None:
    """An owner; sometimes an occupier too, sometimes without an e-mail address."""
    name = "Omar Inglewater" if omars else person_name(dice)
    reachable = omars or dice.random() < 0.8
    address = f"{name.split()[0].lower()}.{number}@{organisation.slug}-owners.example"
    owner = Person.objects.create(
        organisation=organisation,
        name=name,
        email=address if reachable else "",
        language="cy" if number % 40 == 7 and not omars else "",
        phone=f"07700 900{number % 1000:03d}",  # Ofcom keeps 07700 900000-900999 for fiction
    )
    Party.objects.create(premises=place, person=owner, role=Party.Role.OWNER)
    if dice.random() < 0.1:
        tenant = Person.objects.create(organisation=organisation, name=person_name(dice))
        Party.objects.create(premises=place, person=tenant, role=Party.Role.OCCUPIER)


def add_system(
    organisation: Organisation,
    place: Premises,
    kind: str,
    number: int,
    *,
    dice: random.Random,
    today: dt.date,
) -> Made:
    """One system with its tank, chambers and what was written down of its use."""
    age = dice.uniform(1.0, 20.0)
    installed = today - dt.timedelta(days=round(age * 365.25))
    persons = float(dice.choices([1, 2, 3, 4, 5, 6], [10, 30, 22, 22, 10, 6])[0])
    holiday = dice.random() < 0.08
    system = System.objects.create(
        organisation=organisation,
        premises=place,
        reference=f"{organisation.slug[:2].upper()}-{number:04d}",
        kind=kind,
        installed_on=None if dice.random() < 0.1 else installed,
        design_population=dice.choice([None, 5, 6, 8]),
        bedrooms=dice.choice([None, 2, 3, 4, 5]),
        discharge=discharge_of(kind, dice),
        lid_latitude=place.latitude + 0.0001 if place.latitude and dice.random() < 0.5 else None,
        lid_longitude=place.longitude if place.longitude and dice.random() < 0.5 else None,
        lid_note=dice.choice(
            ["", "Four paces north of the oil tank", "Under the slab by the gate"]
        ),
        service_interval_months=12 if kind == Kind.PACKAGE_PLANT else None,
    )
    if (system.lid_latitude is None) != (system.lid_longitude is None):
        system.lid_latitude = system.lid_longitude = None
        system.save(update_fields=["lid_latitude", "lid_longitude"])
    if system.holds_sludge:
        add_tank(system, dice)
        Occupancy.objects.create(
            system=system,
            use=Occupancy.Use.HOLIDAY_LET if holiday else Occupancy.Use.RESIDENCE,
            persons=None if dice.random() < 0.15 else persons,
            weeks_per_year=26 if holiday else 52,
            kitchen_grinder=dice.random() < 0.04,
        )
    add_chambers(system, dice, today)
    a_person = 85 * 2.718281828 ** dice.gauss(0, 0.4)
    return Made(system, persons, persons * a_person * (0.5 if holiday else 1.0))


def discharge_of(kind: str, dice: random.Random) -> str:
    """Where it goes; one septic tank in thirty still goes to a stream, which is to be found."""
    if kind == Kind.CESSPOOL:
        return System.Discharge.NONE
    if kind == Kind.PACKAGE_PLANT:
        return dice.choice([System.Discharge.WATERCOURSE, System.Discharge.DRAINAGE_FIELD])
    return System.Discharge.WATERCOURSE if dice.random() < 0.03 else System.Discharge.DRAINAGE_FIELD


def add_tank(system: System, dice: random.Random) -> None:
    """A tank whose shape is known two times in three and whose size nine in ten."""
    if system.kind == Kind.CESSPOOL:
        Tank.objects.create(system=system, working_volume_litres=18000)
        return
    if system.kind == Kind.GREASE_TRAP:
        Tank.objects.create(system=system, working_volume_litres=750)
        return
    plant = system.kind == Kind.PACKAGE_PLANT
    litres = round(dice.choice(PLANT_SETTLER_LITRES if plant else SEPTIC_LITRES))
    label = "Primary settler" if plant else ""
    look = dice.random()
    if look < 0.1:
        Tank.objects.create(system=system, label=label)
    elif look < 0.4 or plant:
        Tank.objects.create(system=system, working_volume_litres=litres, label=label)
    else:
        height = dice.choice([1100, 1200, 1350])
        Tank.objects.create(
            system=system,
            shape=Tank.Shape.RECTANGULAR,
            material=Tank.Material.CONCRETE,
            width_mm=1000,
            length_mm=round(litres * 1e6 / (1000 * height)),
            outlet_height_mm=height,
            working_volume_litres=litres,
        )
    if system.discharge == System.Discharge.DRAINAGE_FIELD and dice.random() < 0.3:
        DrainageField.objects.create(system=system, area_m2=dice.choice([24, 30, 36]))


def add_chambers(system: System, dice: random.Random, today: dt.date) -> None:
    """One or two inspection chambers, now and then an effluent filter."""
    if system.kind == Kind.SOAKAWAY:
        return
    for number in range(1, dice.choice([2, 2, 3])):
        Chamber.objects.create(
            system=system,
            label=f"IC{number}",
            diameter_mm=dice.choice([320, 460]),
            pipe_mm=110,
            depth_mm=dice.choice([450, 600, 900]),
            last_inspected_on=today - dt.timedelta(days=dice.randint(20, 290)),
        )
    if system.kind == Kind.SEPTIC_TANK and dice.random() < 0.1:
        Chamber.objects.create(system=system, label="Filter", kind=Chamber.Kind.EFFLUENT_FILTER)


def agreement_wish(dice: random.Random) -> tuple[int, bool]:
    """How many days ago an agreement began, and whether it renews itself."""
    return dice.randint(10, 420), dice.random() < 0.5


def add_pub(
    organisation: Organisation, made: list[Made], *, dice: random.Random, today: dt.date
) -> None:
    """A pub with a kitchen: its tank fills by meals, not by people."""
    first = next((one for one in made if one.system.kind == Kind.SEPTIC_TANK), None)
    if first is None or len(made) < 100:
        return
    pub = made[40].system.premises
    pub.name = "The Drowned Lantern"
    pub.save(update_fields=["name"])
    one = add_system(
        organisation, pub, Kind.SEPTIC_TANK, len(made) + 1, dice=dice, today=today
    ).system
    Occupancy.objects.filter(system=one).update(use=Occupancy.Use.RESTAURANT, persons=60)
    Tank.objects.filter(system=one).update(working_volume_litres=9000)
    made.append(Made(one, 6.0, 6.0 * 85))
