"""What is known of one system: the inputs of a forecast. Litres, millimetres, dates."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from servicing.forecasting.tanks import Tank


class Kind(StrEnum):
    """Kinds of system whose filling is forecast."""

    SEPTIC_TANK = "septic_tank"
    CESSPOOL = "cesspool"
    PACKAGE_PLANT = "package_plant"
    GREASE_TRAP = "grease_trap"


class Method(StrEnum):
    """How a level was measured; kinds never mix in one rate (Sircilla 2021: 1.8 : 1 : 0.32)."""

    CORE = "core"
    STICK = "stick"
    BLANKET = "blanket"
    TANKER_VOLUME = "tanker_volume"


@dataclass(frozen=True, slots=True)
class Dip:
    """A level measured on a day: depths in mm, or litres of sludge and scum (liquid in a cesspool).

    Scum of None was not measured, which is another thing than 0 mm of it.

    On the day of an emptying it counts as taken before, unless ``after_emptying``. Several dips
    of one compartment on one day are repeat readings.
    """

    on: date
    sludge_mm: float | None = None
    scum_mm: float | None = None
    litres: float | None = None
    method: Method = Method.STICK
    compartment: int = 0
    after_emptying: bool = False


@dataclass(frozen=True, slots=True)
class Emptying:
    """Sludge taken out on a day; what was left, if known. ``removed_litres`` never feeds a rate.

    One ``in_part`` lowers the level to what was left but restarts no ceiling's clock; without
    what was left, by count or by a dip after it, it is not reckoned with at all.
    """

    on: date
    left_litres: float | None = None
    left_share: float | None = None
    removed_litres: float | None = None
    in_part: bool = False


@dataclass(frozen=True, slots=True)
class Spell:
    """Who used the system from a day on, until the next spell starts (or ``ends``, inclusive).

    ``persons`` None means unknown; ``use`` is a key of NBR 7229's contributions and ``units``
    its daily meals, seats or bowls; ``season`` the first and last month of use, both inclusive.
    """

    starts: date
    persons: float | None = None
    weeks_per_year: float = 52.0
    guests_person_nights: float = 0.0
    grinder: bool = False
    use: str = "residence"
    units: float | None = None
    season: tuple[int, int] | None = None
    ends: date | None = None


@dataclass(frozen=True, slots=True)
class Trigger:
    """When a system must be emptied; the earliest of those given binds."""

    share: float | None = None
    sludge_clear_mm: float | None = None
    scum_clear_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Ceiling:
    """A longest interval: months since last emptied, by ``law``, ``agreement``, ..."""

    months: float
    basis: str


@dataclass(frozen=True, slots=True)
class Override:
    """A recorded decision for another due date, with its reason."""

    due_on: date
    reason: str


@dataclass(frozen=True, slots=True)
class SystemFacts:
    """All that is known of one system and bears on its next emptying.

    ``accepted_risk`` is the chance of being over the trigger that sets the due date. With
    ``year_over_price`` - what a year over the trigger costs, in emptyings - the date that costs
    least is taken instead: for the same trips it keeps tanks over their trigger less.
    """

    reference: str
    tank: Tank
    kind: Kind = Kind.SEPTIC_TANK
    installed_on: date | None = None
    emptyings: tuple[Emptying, ...] = ()
    dips: tuple[Dip, ...] = ()
    occupancy: tuple[Spell, ...] = ()
    bedrooms: int | None = None
    trigger: Trigger = Trigger()
    ceilings: tuple[Ceiling, ...] = ()
    override: Override | None = None
    accepted_risk: float = 0.10
    year_over_price: float | None = None
    backlog_litres_per_person: float = 0.0
