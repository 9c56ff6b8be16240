"""Rows of one system put into the words of the forecasting package."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from servicing.forecasting import facts as known
from servicing.forecasting.geometry import (
    HorizontalCylinder,
    Shape,
    Sphere,
    StrappingTable,
    rectangular,
    upright_cylinder,
)
from servicing.forecasting.published_rates import (
    approved_document_h2_litres,
    british_water_population,
    cesspool_litres,
)
from servicing.forecasting.tanks import Compartment
from servicing.forecasting.tanks import Tank as TankFacts
from servicing.forecasts.wording import day_words
from servicing.models import Dip, Occupancy, System, Tank
from servicing.volumes import spoken

if TYPE_CHECKING:
    from customers.country_rules import RuleBook
    from customers.models import Organisation
    from servicing.forecasts.reading import DipRow, OnRecord, SystemRow, TankRow

METHODS = {
    Dip.Method.CORE_SAMPLER: known.Method.CORE,
    Dip.Method.DIP_STICK: known.Method.STICK,
}

# Uses of the register in the words of NBR 7229; the rest of them are houses.
NBR_USES = {
    Occupancy.Use.HOTEL: "hotel",
    Occupancy.Use.OFFICE: "office",
    Occupancy.Use.SCHOOL: "school",
    Occupancy.Use.FACTORY: "factory",
    Occupancy.Use.BAR: "bar",
    Occupancy.Use.RESTAURANT: "restaurant",
    Occupancy.Use.SEATS: "theatre",
    Occupancy.Use.PUBLIC_WC: "public toilet",
}


@dataclass(slots=True)
class Gathered:
    """Facts of one system with what had to be assumed before the science even began."""

    facts: known.SystemFacts
    assumptions: list[str] = field(default_factory=list)
    ceiling_sources: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Promise:
    """What the current agreement at a place promises about emptying."""

    plan: str
    months: int | None


def gather(
    record: OnRecord, *, organisation: Organisation, rules: RuleBook, promise: Promise | None
) -> Gathered:
    """Facts of a system from what is on record of it."""
    assumed: list[str] = []
    system = record.system
    ceilings, sources = _ceilings(system, organisation, rules=rules, promise=promise)
    emptyings = _emptyings(record)
    tank = _tank(record, rules=rules, units=organisation.units, assumed=assumed)
    by_cost = organisation.dates_by == organisation.DatesBy.COST
    return Gathered(
        facts=known.SystemFacts(
            reference=system.reference,
            tank=tank,
            kind=known.Kind(system.kind),
            installed_on=system.installed_on,
            emptyings=emptyings,
            dips=_dips(record, deep=bool(tank.compartments), assumed=assumed),
            occupancy=_spells(record, emptyings),
            bedrooms=system.bedrooms,
            trigger=_trigger(rules, system.kind),
            ceilings=ceilings,
            accepted_risk=organisation.accepted_risk,
            year_over_price=organisation.year_over_price if by_cost else None,
        ),
        assumptions=assumed,
        ceiling_sources=sources,
    )


def _trigger(rules: RuleBook, kind: str) -> known.Trigger:
    """Limits that a country sets, by share and by clear space in mm; the earliest binds."""
    names = ("share", "sludge_clear_mm", "scum_clear_mm")
    said = {name: rules.rule(f"trigger_{name}", kind) for name in names}
    return known.Trigger(**{name: float(rule.value) for name, rule in said.items() if rule})


def _ceilings(
    system: SystemRow, organisation: Organisation, *, rules: RuleBook, promise: Promise | None
) -> tuple[tuple[known.Ceiling, ...], dict[str, str]]:
    """Longest intervals allowed, and where each comes from.

    A recorded override replaces the rule of the country and, on a single system, the maker's;
    an organisation's own replaces guidance only. A promise in an agreement always stands.
    """
    found: list[known.Ceiling] = []
    sources: dict[str, str] = {}
    rule = rules.rule("interval_months", system.kind)
    own = organisation.interval_override_months
    if system.ceiling_override_months:
        found.append(known.Ceiling(system.ceiling_override_months, "override"))
        sources["override"] = system.ceiling_override_reason
    elif rule is not None and own and not rule.is_law:
        found.append(known.Ceiling(own, "override"))
        sources["override"] = organisation.interval_override_reason
    elif rule is not None:
        basis = "law" if rule.is_law else "guidance"
        found.append(known.Ceiling(float(rule.value), basis))
        sources[basis] = rule.source
    if system.maker_interval_months and not system.ceiling_override_months:
        found.append(known.Ceiling(system.maker_interval_months, "manufacturer"))
        sources["manufacturer"] = "The manufacturer's instructions"
    if promise is not None and promise.months:
        found.append(known.Ceiling(promise.months, "agreement"))
        sources["agreement"] = f"The aftercare plan {promise.plan}"
    return tuple(found), sources


def shape_of(tank: TankRow) -> Shape | None:
    """Geometry of a tank when its dimensions are all there."""
    width, height = tank.diameter_mm, tank.outlet_height_mm
    match Tank.Shape(tank.shape):
        case Tank.Shape.STRAPPING if tank.strapping_table:
            pairs = tuple((float(mm), float(litres)) for mm, litres in tank.strapping_table)
            shape: Shape | None = StrappingTable(pairs)
        case Tank.Shape.HORIZONTAL_CYLINDER if width and tank.length_mm:
            shape = HorizontalCylinder(width, tank.length_mm)
        case Tank.Shape.SPHERE if width:
            shape = Sphere(width)
        case Tank.Shape.UPRIGHT_CYLINDER if width and height:
            shape = upright_cylinder(width, height)
        case Tank.Shape.RECTANGULAR if tank.length_mm and tank.width_mm and height:
            shape = rectangular(tank.length_mm, tank.width_mm, height)
        case _ if height and tank.working_volume_litres:
            # Only depth and volume are known: as if its walls stood upright.
            shape = StrappingTable(((0.0, 0.0), (float(height), tank.working_volume_litres)))
        case _:
            shape = None
    return shape


def _tank(record: OnRecord, *, rules: RuleBook, units: str, assumed: list[str]) -> TankFacts:
    """Tank of the system: by its shape, by its stated volume, or by the sizing rule."""
    tanks = record.tanks
    volumes = [tank.working_volume_litres for tank in tanks]
    known_volumes = [volume for volume in volumes if volume]
    stated = sum(known_volumes) if tanks and len(known_volumes) == len(tanks) else None
    shapes = [(tank, shape_of(tank)) for tank in tanks]
    compartments = tuple(
        Compartment(shape, tank.outlet_height_mm)
        for tank, shape in shapes
        if shape is not None and tank.outlet_height_mm
    )
    if tanks and len(compartments) == len(tanks):
        return TankFacts(working_volume_litres=stated, compartments=compartments)
    if stated is not None:
        return TankFacts(working_volume_litres=stated)
    litres, why = _assumed_volume(record.system, rules=rules)
    assumed.append(f"The tank's size is not known: {spoken(litres, units)} assumed{why}.")
    return TankFacts(working_volume_litres=litres)


def _assumed_volume(system: SystemRow, *, rules: RuleBook) -> tuple[float, str]:
    """Litres to reckon with when nobody knows the size: the smallest the rules allow."""
    default = rules.rule("default_volume_litres", system.kind)
    if default is not None:
        return float(default.value), ""
    population = system.design_population or british_water_population(system.bedrooms or 3)
    if system.kind == System.Kind.GREASE_TRAP:
        return 500.0, " (common practice, no source)"
    sealed = system.kind == System.Kind.CESSPOOL
    size = cesspool_litres if sealed else approved_document_h2_litres
    why = f", the smallest that Approved Document H2 allows for {population:g} people"
    return float(size(population)), why


def _emptyings(record: OnRecord) -> tuple[known.Emptying, ...]:
    """Emptyings of counting visits, and the last one told to us when it is later."""
    found = {
        row.on: known.Emptying(
            row.on,
            left_litres=row.left_behind_litres,
            removed_litres=row.litres_removed,
            in_part=not row.all_compartments,
        )
        for row in record.emptyings
    }
    last = record.system.last_emptied_on
    whole = [day for day, emptying in found.items() if not emptying.in_part]
    if last is not None and last not in found and (not whole or last > max(whole)):
        found[last] = known.Emptying(last)
    return tuple(found[day] for day in sorted(found))


def _dips(record: OnRecord, *, deep: bool, assumed: list[str]) -> tuple[known.Dip, ...]:
    """Measured levels, oldest first; what cannot be used is left out and said so.

    That is an estimate by eye, and a depth in a tank whose own depth nobody wrote down
    (`deep` False).
    """
    places = {tank.pk: place for place, tank in enumerate(record.tanks)}
    dips = []
    for dip in record.dips:
        if dip.sludge_mm is None and dip.scum_mm is None and dip.litres is None:
            continue
        unusable = _why_not(dip, deep=deep) or _too_early(dip, record)
        if unusable:
            assumed.append(f"The dip on {day_words(dip.on)} is not used: {unusable}.")
            continue
        dips.append(
            known.Dip(
                dip.on,
                sludge_mm=None if dip.litres is not None else dip.sludge_mm,
                scum_mm=None if dip.litres is not None else dip.scum_mm,
                litres=dip.litres,
                method=METHODS[Dip.Method(dip.method)],
                compartment=places.get(dip.tank_id, 0),
                after_emptying=dip.after_removal,
            )
        )
    return tuple(dips)


def _why_not(dip: DipRow, *, deep: bool) -> str:
    """Why a dip tells the science nothing; empty when it does."""
    if dip.method not in METHODS:
        return "it was estimated by eye"
    if dip.litres is None and not deep:
        return "the depth of the tank below its outlet is not in the register"
    if dip.litres is None and dip.sludge_mm is None:
        return "the scum was measured but not the sludge"
    return ""


def _too_early(dip: DipRow, record: OnRecord) -> str:
    """Whether nobody knows how long had been filling what was measured."""
    system = record.system
    emptied = [row.on for row in record.emptyings]
    emptied += [system.last_emptied_on] if system.last_emptied_on else []
    if system.installed_on is None and emptied and dip.on < min(emptied):
        return "it was taken before the first emptying we know of"
    return ""


def _spells(record: OnRecord, emptyings: tuple[known.Emptying, ...]) -> tuple[known.Spell, ...]:
    """Occupancy in time order; what has no beginning begins with the system."""
    installed = record.system.installed_on
    beginnings = [day for day in (installed,) if day]
    beginnings += [emptying.on for emptying in emptyings[:1]]
    first = min(beginnings, default=dt.date(2000, 1, 1))
    spells = []
    for row in record.occupancies:
        house = row.use not in NBR_USES
        season = (
            (row.season_starts_month, row.season_ends_month)
            if row.season_starts_month and row.season_ends_month
            else None
        )
        spells.append(
            known.Spell(
                row.since or first,
                persons=row.persons if house else None,
                weeks_per_year=row.weeks_per_year,
                guests_person_nights=float(row.guest_nights),
                grinder=row.kitchen_grinder,
                use="residence" if house else NBR_USES[Occupancy.Use(row.use)],
                units=None if house else row.persons,
                season=season,
            )
        )
    return tuple(sorted(spells, key=lambda spell: spell.starts))
