"""A file from end to end: what it would do to the register, and doing it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from customers.models import AftercarePlan

from .bringing_in import BroughtIn, import_systems
from .columns import ColumnMapping, texts_of
from .comparison import Compared, Outcome, compare
from .dates import reads_month_first
from .interpretation import DATES, read_rows
from .refused import RefusedFile
from .rows import Defaults, RowErrors, SystemRow
from .spool import laid_by

if TYPE_CHECKING:
    from customers.models import Organisation, User

    from .sheets import Sheet

SHOWN = 50
GALLON_OF_COUNTRY = {"GB": "imperial_gallons", "IE": "imperial_gallons", "US": "us_gallons"}


@dataclass(frozen=True, slots=True)
class Intake:
    """A sheet with everything needed to read it."""

    sheet: Sheet
    mapping: ColumnMapping
    defaults: Defaults
    organisation: Organisation
    today: dt.date


@dataclass(slots=True)
class Survey:
    """What a file would do, with the first cases of each kind; nothing has been written."""

    added: int = 0
    changed: int = 0
    same: int = 0
    refused: int = 0
    additions: list[Compared] = field(default_factory=list)
    changes: list[Compared] = field(default_factory=list)
    refusals: list[RowErrors] = field(default_factory=list)

    @property
    def rows(self) -> int:
        """Rows of the file."""
        return self.added + self.changed + self.same + self.refused


def defaults_for(organisation: Organisation) -> Defaults:
    """How this organisation's lists are read unless answered otherwise for a file."""
    country = organisation.profile.holidays_country
    gallon = GALLON_OF_COUNTRY.get(country, "")
    units = organisation.units
    plans = AftercarePlan.objects.filter(organisation=organisation).order_by("name")
    return Defaults(
        gallon=units if units != organisation.Units.LITRES else gallon,
        volume_unit=units,
        month_first=country == "US",
        country=country,
        grid="irish" if country == "IE" else "british",
        plans=tuple(plans.values_list("name", flat=True)),
    )


def fitted_to(defaults: Defaults, sheet: Sheet, mapping: ColumnMapping) -> Defaults:
    """Return the defaults with the order of day and month that makes sense of the dates."""
    texts = [text for name in DATES for text in texts_of(sheet, mapping, name)]
    return replace(defaults, month_first=True) if reads_month_first(texts) else defaults


def survey(intake: Intake, refused_file: Path | None = None) -> Survey:
    """Find out what the file would do and write nothing but the file of refused rows."""
    found = Survey()
    with Refusals(intake, refused_file) as refusals:
        for batch in compare(intake.organisation, refusals.accepted()):
            for one in batch:
                _note(found, one)
    found.refused, found.refusals = refusals.count, refusals.first
    return found


def bring_in(
    intake: Intake,
    *,
    by: User | None,
    take_changes: bool,
    refused_file: Path | None = None,
    progress: Callable[[int], None] | None = None,
) -> tuple[BroughtIn, int]:
    """Bring the file into the register; gives what was done and how many rows were refused.

    `progress` is told how many rows are behind, refused ones included.
    """
    with Refusals(intake, refused_file) as refusals, laid_by(refusals.accepted()) as rows:
        done = import_systems(
            organisation=intake.organisation,
            rows=rows,
            by=by,
            today=intake.today,
            source=intake.sheet.name,
            take_changes=take_changes,
            progress=(lambda so_far: progress(so_far.rows + refusals.count)) if progress else None,
        )
    return done, refusals.count


class Refusals:
    """Lets the good rows of a file pass and writes the others to a file as they come."""

    def __init__(self, intake: Intake, path: Path | None) -> None:
        self.count = 0
        self.first: list[RowErrors] = []
        self._intake = intake
        self._path = path
        self._file = path.open("w", encoding="utf-8-sig", newline="") if path else None
        self._refused = RefusedFile(self._file, intake.sheet.headings) if self._file else None

    def __enter__(self) -> Refusals:
        return self

    def __exit__(self, *_: object) -> None:
        """Close the file, and leave none behind that holds no row."""
        if self._file and self._path:
            self._file.close()
            if not self.count:
                self._path.unlink()

    def accepted(self) -> Iterator[SystemRow]:
        """Pass on the rows that can be brought in."""
        rows: Iterable[SystemRow | RowErrors] = read_rows(
            self._intake.sheet, self._intake.mapping, self._intake.defaults, self._intake.today
        )
        for row in rows:
            if isinstance(row, SystemRow):
                yield row
                continue
            self.count += 1
            if len(self.first) < SHOWN:
                self.first.append(row)
            if self._refused:
                self._refused.write(row)


def _note(found: Survey, one: Compared) -> None:
    if one.outcome == Outcome.ADDED:
        found.added += 1
        if len(found.additions) < SHOWN:
            found.additions.append(one)
    elif one.outcome == Outcome.CHANGED:
        found.changed += 1
        if len(found.changes) < SHOWN:
            found.changes.append(one)
    else:
        found.same += 1
