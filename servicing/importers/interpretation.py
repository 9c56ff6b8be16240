"""What a row says: every cell read, everything wrong with it gathered, nothing guessed silently."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator

from .cells import is_nothing
from .columns import ColumnMapping
from .dates import ReadDate, read_date
from .fields import plain
from .people import MOST_BEDROOMS, read_email, read_persons, read_phone, read_whole
from .places import read_place
from .reading import RowReader
from .rows import AgreementTerm, Defaults, Owner, Place, RowErrors, SystemRow, Use
from .sheets import Sheet, SheetRow
from .volumes import SMALLEST_TANK_LITRES, read_number, read_volume
from .words import DISCHARGES, KINDS, USES, find_word, read_word, read_yes_or_no

HOLDS_SEWAGE = frozenset({"septic_tank", "cesspool", "package_plant"})
DATES = ("installed_on", "last_emptied_on", "last_serviced_on")
TEXTS = {"make_and_model": 120, "serial_number": 60, "registration": 60, "lid_note": 200}
DERIVED_PREFIX = "L-"  # of references made from address and kind where the list has none


def read_rows(
    sheet: Sheet, mapping: ColumnMapping, defaults: Defaults, today: dt.date
) -> Iterator[SystemRow | RowErrors]:
    """Interpret every row of a sheet; a reference that stood on an earlier line is refused."""
    lines: dict[str, int] = {}
    heading = next((column.heading for column in mapping if column.field == "reference"), "")
    for row in sheet.walk():
        read = interpret(row, mapping, defaults, today)
        if isinstance(read, SystemRow):
            earlier = lines.setdefault(read.reference.casefold(), read.line)
            if earlier != read.line:
                reader = RowReader(row, mapping)
                reader.refuse(heading, _repeated(read.reference, earlier, given=bool(heading)))
                yield reader.errors()
                continue
        yield read


def interpret(
    row: SheetRow, mapping: ColumnMapping, defaults: Defaults, today: dt.date
) -> SystemRow | RowErrors:
    """Return the system a row describes, or everything that is wrong with the row."""
    reader = RowReader(row, mapping)
    system: dict[str, str | int | dt.date] = {}
    kind = _kind(reader, defaults)
    system.update(kind=kind, **_texts(reader), **_numbers(reader))
    if discharge := reader.read("discharge", lambda cell: read_word(cell, DISCHARGES, "way out")):
        system["discharge"] = discharge
    system.update(_dates(reader, defaults, today))
    volume = _volume(reader, defaults, kind)
    use = _use(reader, system)
    place = read_place(reader, defaults)
    owner = _owner(reader, defaults)
    agreement = _agreement(reader, defaults, today)
    chambers = reader.read(
        "chambers", lambda cell: read_whole(cell, least=0, most=30, what="chambers")
    )
    reference = _reference(reader, place, kind)
    if reader.found:
        return reader.errors()
    remarks = tuple(reader.remarks)
    return SystemRow(
        row.line, reference, system, place, use, owner, agreement, volume, chambers or 0, remarks
    )


def _reference(reader: RowReader, place: Place, kind: str) -> str:
    text = reader.text("reference", most=40)
    if text:
        return text
    if reader.has("reference"):
        reader.refuse_field("reference", "is missing")
        return ""
    where = plain(f"{place.name} {place.address} {place.postcode}")
    where = where or f"{place.latitude} {place.longitude}"
    digest = hashlib.sha256(f"{where} {kind}".encode()).hexdigest()[:8].upper()
    return f"{DERIVED_PREFIX}{digest}"


def _repeated(reference: str, earlier: int, *, given: bool) -> str:
    if given:
        return f"reference {reference} already stands on line {earlier}"
    return f"same place and kind as line {earlier}: give both a reference"


def _kind(reader: RowReader, defaults: Defaults) -> str:
    kind = reader.read("kind", lambda cell: read_word(cell, KINDS, "kind of system"))
    if kind:
        return kind
    if not defaults.kind and not reader.is_refused("kind"):
        reader.refuse_field("kind", "the kind of system is not given")
    elif defaults.kind:
        reader.remark(f"kind not given, taken as {defaults.kind.replace('_', ' ')}")
    return defaults.kind


def _texts(reader: RowReader) -> dict[str, str]:
    found = {name: reader.text(name, most=most) for name, most in TEXTS.items()}
    found["notes"] = reader.text("notes", most=4000)
    return {name: text for name, text in found.items() if text}


def _numbers(reader: RowReader) -> dict[str, int]:
    bounds = {
        "bedrooms": (0, MOST_BEDROOMS, "bedrooms"),
        "design_population": (1, 5000, "persons of design population"),
        "maker_interval_months": (1, 240, "months"),
        "service_interval_months": (1, 240, "months"),
    }
    found: dict[str, int] = {}
    for name, (least, most, what) in bounds.items():
        number = reader.read(
            name,
            lambda cell, least=least, most=most, what=what: read_whole(  # type: ignore[misc]
                cell, least=least, most=most, what=what
            ),
        )
        if number is not None:
            found[name] = number
    return found


def _dates(reader: RowReader, defaults: Defaults, today: dt.date) -> dict[str, dt.date]:
    read: dict[str, ReadDate] = {}
    for name in DATES:
        found = _date(reader, name, defaults, today)
        if found is None:
            continue
        read[name] = found
        if found.earliest > today:
            reader.refuse_field(name, f"{found.earliest:%d/%m/%Y} lies in the future")
    taken = {name: found.earliest for name, found in read.items()}
    installed = read.pop("installed_on", None)
    if installed is not None:
        _check_order(reader, installed, read)
        taken = {name: max(day, installed.earliest) for name, day in taken.items()}
        read["installed_on"] = installed
    for name in (name for name, found in read.items() if not found.is_exact):
        reader.remark(f"{_spoken(name)} taken as {taken[name]:%d/%m/%Y}, the earliest it can mean")
    return taken


def _check_order(reader: RowReader, installed: ReadDate, later: dict[str, ReadDate]) -> None:
    """Refuse a day that lies before the installation however both dates are meant."""
    for name, found in later.items():
        if found.latest < installed.earliest:
            verb = _spoken(name).removeprefix("last ")
            reader.refuse_field(
                name,
                f"{verb} on {found.latest:%d/%m/%Y}, before it was installed"
                f" on {installed.earliest:%d/%m/%Y}",
            )


def _spoken(name: str) -> str:
    return name.removesuffix("_on").replace("_", " ")


def _date(reader: RowReader, name: str, defaults: Defaults, today: dt.date) -> ReadDate | None:
    if name != "installed_on" and reader.text(name, most=200).lower() == "never":
        reader.remark(f"{_spoken(name)}: never, so nothing is recorded")
        return None
    return reader.read(
        name, lambda cell: read_date(cell, month_first=defaults.month_first, today=today)
    )


def _volume(reader: RowReader, defaults: Defaults, kind: str) -> float | None:
    unit = reader.unit("volume") or defaults.volume_unit
    litres = reader.read(
        "volume", lambda cell: read_volume(cell, unit=unit, gallon=defaults.gallon)
    )
    if litres is not None and kind in HOLDS_SEWAGE and litres < SMALLEST_TANK_LITRES:
        reader.refuse_field(
            "volume",
            f"{litres:,.0f} litres are too little for a {kind.replace('_', ' ')}:"
            " is the unit right?",
        )
    return litres


def _use(reader: RowReader, system: dict[str, str | int | dt.date]) -> Use:
    household = reader.read("persons", read_persons)
    if household and household.bedrooms is not None:
        system.setdefault("bedrooms", household.bedrooms)
    if household and household.remark:
        reader.remark(household.remark)
    if household is None and "bedrooms" in system and not reader.is_refused("persons"):
        reader.remark("persons not given: bedrooms kept, the forecast says what it assumes")
    weeks = reader.read("weeks_per_year", lambda cell: read_number(_without_weeks(cell)))
    if weeks is not None and not 0 <= weeks <= 53:
        reader.refuse_field("weeks_per_year", f"{weeks:g} weeks do not fit a year")
    use = find_word(reader.text("use", most=200), USES)
    if reader.text("use", most=200) and not use:
        reader.remark(f"use “{reader.text('use', most=200)}” not known here, left out")
    grinder = reader.read("kitchen_grinder", read_yes_or_no)
    return Use(use, household.persons if household else None, weeks, grinder)


def _without_weeks(cell: object) -> str:
    return str(cell).lower().replace("weeks", "").replace("wks", "").strip()


def _owner(reader: RowReader, defaults: Defaults) -> Owner | None:
    name = reader.text("owner_name", most=160)
    email, email_remark = reader.read("owner_email", read_email) or ("", "")
    phone, phone_remark = reader.read(
        "owner_phone", lambda cell: read_phone(cell, country=defaults.country)
    ) or ("", "")
    for remark in (email_remark, phone_remark):
        if remark:
            reader.remark(remark)
    if not (name or email or phone):
        return None
    return Owner(name or email or phone, email, phone)


def _agreement(reader: RowReader, defaults: Defaults, today: dt.date) -> AgreementTerm | None:
    text = reader.text("agreement", most=80)
    if is_nothing(text) or text.lower() in {"no", "n", "false", "0"}:
        return None
    plan = _plan(text, defaults.plans)
    starts = _date(reader, "agreement_starts_on", defaults, today)
    ends = _date(reader, "agreement_ends_on", defaults, today)
    if plan is None:
        known = ", ".join(defaults.plans) or "none yet"
        reader.refuse_field("agreement", f"there is no aftercare plan “{text}” (plans: {known})")
        return None
    if starts is None and ends is None:
        reader.refuse_field("agreement", "the day on which the agreement ends is not given")
        return None
    return _term(reader, plan, starts, ends)


def _term(
    reader: RowReader, plan: str, starts: ReadDate | None, ends: ReadDate | None
) -> AgreementTerm | None:
    """Where one end is missing the term is a year."""
    year = dt.timedelta(days=365)
    last = ends.latest if ends else None
    first = starts.earliest if starts else None
    if first is None and last is not None:
        first = last - year + dt.timedelta(days=1)
        reader.remark("start of the agreement not given: a year before its end")
    elif last is None and first is not None:
        last = first + year - dt.timedelta(days=1)
        reader.remark("end of the agreement not given: a year after its start")
    if first is None or last is None:
        return None
    if last < first:
        reader.refuse_field("agreement_ends_on", "the agreement ends before it starts")
    return AgreementTerm(plan, first, last)


def _plan(text: str, plans: tuple[str, ...]) -> str | None:
    for plan in plans:
        if plan.casefold() == text.casefold():
            return plan
    only_marks = text.lower() in {"y", "yes", "true", "1", "x", "✓"}
    return plans[0] if only_marks and len(plans) == 1 else None
