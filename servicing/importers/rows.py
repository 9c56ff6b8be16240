"""One row of a list as one system with its place, its owner and its agreement."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from .sheets import Cell


@dataclass(frozen=True, slots=True)
class Defaults:
    """How the file is read where it leaves a choice: the organisation's habits, or as answered."""

    gallon: str = ""  # "imperial_gallons" or "us_gallons": what "gal" means; "" = not known
    volume_unit: str = "litres"  # of volumes without any unit
    month_first: bool = False
    country: str = "GB"
    grid: str = "british"  # of eastings and northings without letters
    kind: str = ""  # of systems whose kind is not given; "" = such rows are refused
    plans: tuple[str, ...] = ()  # aftercare plans of the organisation


@dataclass(frozen=True, slots=True)
class Place:
    """Where a system is; empty text and None mean: not in the file."""

    name: str = ""
    address: str = ""
    town: str = ""
    postcode: str = ""
    latitude: float | None = None
    longitude: float | None = None
    location_source: str = ""
    access_note: str = ""


@dataclass(frozen=True, slots=True)
class Owner:
    """Whom to tell."""

    name: str
    email: str = ""
    phone: str = ""


@dataclass(frozen=True, slots=True)
class AgreementTerm:
    """Aftercare sold: the name of the plan and the first and last day."""

    plan: str
    starts_on: dt.date
    ends_on: dt.date


@dataclass(frozen=True, slots=True)
class Use:
    """Who uses the system."""

    use: str = ""
    persons: float | None = None
    weeks_per_year: float | None = None
    kitchen_grinder: bool | None = None

    @property
    def says_something(self) -> bool:
        """Whether the row tells anything of the users at all."""
        return self != Use()


@dataclass(frozen=True, slots=True)
class SystemRow:
    """A row that can be brought in. `system` holds fields of the model System, known ones only."""

    line: int
    reference: str
    system: dict[str, str | int | dt.date]
    place: Place
    use: Use
    owner: Owner | None = None
    agreement: AgreementTerm | None = None
    working_volume_litres: float | None = None
    chambers: int = 0
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CellError:
    """Why a cell is refused: its column as the file heads it, and the reason."""

    column: str
    reason: str

    def __str__(self) -> str:
        return f"{self.column}: {self.reason}" if self.column else self.reason


@dataclass(frozen=True, slots=True)
class RowErrors:
    """A refused row: everything wrong with it, and its cells for the file of refused rows."""

    line: int
    cells: tuple[Cell, ...]
    errors: tuple[CellError, ...] = field(default=())

    @property
    def reason(self) -> str:
        """All reasons in one text."""
        return "; ".join(str(error) for error in self.errors)
