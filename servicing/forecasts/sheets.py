"""Forecasts of a sheet of tanks, without the database."""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TextIO

from servicing.forecasting.accumulation import BOOK_PRIOR
from servicing.forecasting.facts import (
    Ceiling,
    Dip,
    Emptying,
    Kind,
    Method,
    Spell,
    SystemFacts,
    Trigger,
)
from servicing.forecasting.faults import BadMeasure
from servicing.forecasting.fleet import learn_fleet
from servicing.forecasting.forecast import forecast_systems
from servicing.forecasting.geometry import (
    HorizontalCylinder,
    Shape,
    Sphere,
    rectangular,
    upright_cylinder,
)
from servicing.forecasting.tanks import Compartment, Tank
from servicing.forecasts.sheet_cells import DAY, BadSheet, Line, SheetFault, lines_of

if TYPE_CHECKING:
    from servicing.forecasting.faults import Fault
    from servicing.forecasting.outcomes import Forecasts

TANK_COLUMNS = ("reference", "working_volume_litres", "persons", "emptied_on")
MORE_TANK_COLUMNS = (
    "kind", "shape", "length_mm", "diameter_mm", "width_mm", "outlet_height_mm",
    "weeks_per_year", "grinder", "trigger_share", "ceiling_months",
)  # fmt: skip
DIP_COLUMNS = ("reference", "dipped_on")
MORE_DIP_COLUMNS = ("sludge_mm", "scum_mm", "litres", "method")
KINDS = {kind.value: kind for kind in Kind}
METHODS = {method.value: method for method in Method}
# Which measures each shape is known by, in the order its maker takes them.
SHAPES = {
    "horizontal_cylinder": ("diameter_mm", "length_mm"),
    "upright_cylinder": ("diameter_mm", "outlet_height_mm"),
    "rectangular": ("length_mm", "width_mm", "outlet_height_mm"),
    "sphere": ("diameter_mm",),
}
FIELDS = {
    "emptyings": "emptied_on",
    "occupancy": "persons",
    "trigger": "trigger_share",
    "ceilings": "ceiling_months",
    "tank": "working_volume_litres",
}
PART = re.compile(r"(\w+)\[(\d+)\]\.?(\w*)")
LEVELS = ("level_p10", "level_p50", "level_p90")
DATES = ("removal_p10", "removal_p50", "removal_p90", "due_on")


@dataclass(frozen=True, slots=True)
class Asked:
    """What a sheet is to be forecast for."""

    on: dt.date
    risk: float = 0.10
    trigger: float | None = None
    by: tuple[dt.date, ...] = ()
    learn_fleet: bool = False


@dataclass(slots=True)
class Sheets:
    """Tanks and dips as read, with the lines they stand on."""

    facts: list[SystemFacts] = field(default_factory=list)
    tank_lines: list[Line] = field(default_factory=list)
    dip_lines: list[list[Line]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Answer:
    """Forecasts in the order of the sheet, and what they rest on, for people."""

    forecasts: Forecasts
    notes: tuple[str, ...]
    assumptions: tuple[str, ...]


def forecast_sheets(
    tanks: TextIO, dips: TextIO | None, asked: Asked, *, names: tuple[str, str]
) -> Answer:
    """Forecast every tank of a sheet.

    Raises BadSheet with every fault of both sheets: nothing is forecast from part of one.
    """
    sheets = read_sheets(tanks, dips, asked, names=names)
    prior, notes = BOOK_PRIOR, []
    if asked.learn_fleet:
        learned = learn_fleet(sheets.facts, today=asked.on)
        prior = learned.prior
        notes.append(learned.text)
    found = forecast_systems(sheets.facts, today=asked.on, by=asked.by, prior=prior)
    faults = [
        _where(fault, sheets, place)
        for place, some in enumerate(found.faults)
        for fault in some
        if not fault.field.endswith(".starts")  # made of emptied_on, and said there
    ]
    if faults:
        raise BadSheet(sorted(faults))
    assumptions = [
        str(SheetFault(line.file, line.number, _column(one.field), one.text))
        for line, some in zip(sheets.tank_lines, found.assumptions, strict=True)
        for one in some
    ]
    return Answer(found, tuple(notes), tuple(assumptions))


def read_sheets(
    tanks: TextIO, dips: TextIO | None, asked: Asked, *, names: tuple[str, str]
) -> Sheets:
    """Facts of every tank with its dips. Raises BadSheet with everything wrong with the cells."""
    lines = list(lines_of(tanks, names[0], required=TANK_COLUMNS, optional=MORE_TANK_COLUMNS))
    places = _places(lines)
    dip_lines: list[list[Line]] = [[] for _ in lines]
    faulty: list[Line] = [*lines]
    measured: list[list[Dip]] = [[] for _ in lines]
    if dips is not None:
        for line in lines_of(dips, names[1], required=DIP_COLUMNS, optional=MORE_DIP_COLUMNS):
            faulty.append(line)
            place, dip = places.get(line.text("reference")), _dip(line)
            if place is None:
                line.wrong("reference", f"no tank is called “{line.text('reference')}”")
            elif dip is not None and not _too_early(line, dip, lines[place]):
                measured[place].append(dip)
                dip_lines[place].append(line)
    facts = [_facts(line, tuple(some), asked) for line, some in zip(lines, measured, strict=True)]
    faults = [fault for line in faulty for fault in line.faults]
    if faults:
        raise BadSheet(sorted(faults))
    return Sheets([one for one in facts if one is not None], lines, dip_lines)


def _places(lines: Sequence[Line]) -> dict[str, int]:
    places: dict[str, int] = {}
    for place, line in enumerate(lines):
        reference = line.text("reference")
        if not reference:
            line.wrong("reference", "is missing")
        elif reference in places:
            line.wrong(
                "reference", f"“{reference}” stands on line {lines[places[reference]].number}"
            )
        else:
            places[reference] = place
    return places


def _dip(line: Line) -> Dip | None:
    on = line.day_in("dipped_on")
    if on is None:
        if not line.text("dipped_on"):
            line.wrong("dipped_on", "is missing")
        return None
    litres, sludge, scum = (line.number_in(name) for name in ("litres", "sludge_mm", "scum_mm"))
    if litres is not None and (sludge is not None or scum is not None):
        line.wrong("litres", "give litres, or sludge and scum in mm, not both")
    method = line.one_of("method", METHODS, Method.STICK)
    return Dip(on, sludge_mm=sludge, scum_mm=scum, litres=litres, method=method)


def _too_early(line: Line, dip: Dip, tank: Line) -> bool:
    """Whether a dip lies before the only emptying the sheet knows of; a fault on its line."""
    text = tank.text("emptied_on")
    if not DAY.fullmatch(text) or dip.on.isoformat() >= text:
        return False
    line.wrong("dipped_on", f"{dip.on} is before the tank was emptied on {text}")
    return True


def _facts(line: Line, dips: tuple[Dip, ...], asked: Asked) -> SystemFacts | None:
    emptied = line.day_in("emptied_on")
    months, share = line.number_in("ceiling_months"), line.number_in("trigger_share")
    weeks = line.number_in("weeks_per_year")
    spell = Spell(
        emptied or (min(dip.on for dip in dips) if dips else asked.on),
        persons=line.number_in("persons"),
        weeks_per_year=52.0 if weeks is None else weeks,
        grinder=line.yes_or_no("grinder"),
    )
    kind = line.one_of("kind", KINDS, Kind.SEPTIC_TANK)
    tank = _tank(line)
    if tank is None:
        return None
    return SystemFacts(
        line.text("reference"),
        tank,
        kind=kind,
        emptyings=(Emptying(emptied),) if emptied else (),
        dips=dips,
        occupancy=(spell,),
        trigger=Trigger(share=asked.trigger if share is None else share),
        ceilings=() if months is None else (Ceiling(months, "sheet"),),
        accepted_risk=asked.risk,
    )


def _tank(line: Line) -> Tank | None:
    """Tank of a row; None, and a fault on the line, where it cannot be."""
    litres = line.number_in("working_volume_litres")
    had = len(line.faults)
    try:
        compartment = _compartment(line)
        if len(line.faults) > had or any(f.field == "working_volume_litres" for f in line.faults):
            return None
        return Tank(litres, (compartment,) if compartment else ())
    except BadMeasure as wrong:
        known = wrong.field in TANK_COLUMNS or wrong.field in MORE_TANK_COLUMNS
        column = wrong.field if known else "shape"
        line.wrong(column, str(wrong).removeprefix(column).strip())
        return None


def _compartment(line: Line) -> Compartment | None:
    """The tank's shape; None where no shape is given."""
    name = line.text("shape")
    outlet = line.number_in("outlet_height_mm")
    needed = line.one_of("shape", SHAPES, ())
    if not name or not needed:
        return None
    measures = [line.number_in(column) for column in needed]
    for column in dict.fromkeys((*needed, "outlet_height_mm")):
        if not line.text(column):
            line.wrong(column, f"is needed for the shape {name}")
    known = [one for one in measures if one is not None]
    if len(known) < len(needed) or outlet is None:
        return None
    return Compartment(_shape(name, known), outlet)


def _shape(name: str, measures: Sequence[float]) -> Shape:
    if name == "horizontal_cylinder":
        return HorizontalCylinder(measures[0], measures[1])
    if name == "upright_cylinder":
        return upright_cylinder(measures[0], measures[1])
    if name == "rectangular":
        return rectangular(measures[0], measures[1], measures[2])
    return Sphere(measures[0])


def _where(fault: Fault, sheets: Sheets, place: int) -> SheetFault:
    """File, line and column of a fault that the science found."""
    part = PART.match(fault.field)
    message = fault.message
    if part is not None and part[1] == "dips":
        line = sheets.dip_lines[place][int(part[2])]
        if part[3] == "compartment":
            message = "a depth needs the shape and dimensions of the tank; or give litres"
            return SheetFault(line.file, line.number, "sludge_mm", message)
        return SheetFault(
            line.file, line.number, "dipped_on" if part[3] == "on" else part[3], message
        )
    line = sheets.tank_lines[place]
    return SheetFault(line.file, line.number, _column(fault.field), message)


def _column(path: str) -> str:
    """Column of the sheet of tanks that a field of the science comes from."""
    part, leaf = re.split(r"[\[.]", path)[0], path.rpartition(".")[2]
    return leaf if leaf in {*TANK_COLUMNS, *MORE_TANK_COLUMNS} else FIELDS.get(part, part)


def write_forecasts(found: Forecasts, out: TextIO) -> None:
    """Write the forecasts as CSV: litres and dates; nothing where a date is beyond sixty years."""
    writer = csv.writer(out, lineterminator="\n")
    by = [f"over_by_{day.isoformat()}" for day in found.by]
    writer.writerow(
        ["reference", *LEVELS, *DATES, "binding_rule", *by, "rate_l_per_person_year_p50"]
    )
    for place in range(len(found)):
        one = found.of(place)
        writer.writerow([
            one.reference,
            *(f"{getattr(one, name):.1f}" for name in LEVELS),
            *(day.isoformat() if (day := getattr(one, name)) else "" for name in DATES),
            one.binding_rule,
            *(f"{chance:.4f}" for chance in one.over_by),
            f"{one.rate_p50:.1f}",
        ])  # fmt: skip
