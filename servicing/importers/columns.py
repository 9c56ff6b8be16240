"""Which column of a list means what: guessed from headings and contents, then put right by hand."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from customers.addresses import AddressError, read_grid_reference, read_position, read_postcode

from .cells import CellRefusedError, as_text, is_nothing
from .fields import BY_NAME, REASON_HEADING, match_heading, plain, take_apart
from .sheets import HEAD_ROWS, Cell, Sheet
from .volumes import UNIT_LABELS
from .words import KINDS, find_word


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a file and what is made of it; an empty field means: not used."""

    index: int
    heading: str
    field: str = ""
    unit: str = ""

    @property
    def use(self) -> str:
        """The field, with its unit where one is fixed: "volume:litres"."""
        return f"{self.field}:{self.unit}" if self.unit else self.field


ColumnMapping = tuple[Column, ...]


class MappingError(ValueError):
    """A correction of the mapping names a heading, a field or a unit that does not exist."""


def guess_mapping(sheet: Sheet) -> ColumnMapping:
    """Return what each column most likely means; each field is given to one column at most."""
    samples = _samples(sheet)
    wishes: list[tuple[int, int, str]] = []
    for index, heading in enumerate(sheet.headings):
        name, score = _wish(heading, samples[index])
        if name and _contents_fit(name, samples[index]):
            wishes.append((score, -index, name))
    taken: dict[int, str] = {}
    for _, negative_index, name in sorted(wishes, reverse=True):
        if name not in taken.values():
            taken[-negative_index] = name
    for index, texts in enumerate(samples):
        name = "" if index in taken else _by_contents(texts)
        if name and name not in taken.values() and not _is_reason(sheet.headings[index]):
            taken[index] = name
    return tuple(
        Column(index, heading, taken.get(index, ""), _unit(taken.get(index, ""), heading))
        for index, heading in enumerate(sheet.headings)
    )


def correct_mapping(mapping: ColumnMapping, uses: Mapping[str, str]) -> ColumnMapping:
    """Return the mapping with some columns changed: heading to field, "field:unit" or "" (unused).

    A field given to a column by hand is taken from the column that had it by guess.
    """
    known = {plain(column.heading): column.heading for column in mapping}
    chosen: dict[str, tuple[str, str]] = {}
    for heading, use in uses.items():
        if plain(heading) not in known:
            msg = f"The file has no column “{heading}”; it has: {', '.join(known.values())}."
            raise MappingError(msg)
        chosen[known[plain(heading)]] = _checked_use(use)
    fields = [field for field, _ in chosen.values() if field]
    if doubled := {field for field in fields if fields.count(field) > 1}:
        labels = ", ".join(sorted(BY_NAME[field].label for field in doubled))
        msg = f"More than one column is given to: {labels}."
        raise MappingError(msg)
    return tuple(_corrected(column, chosen, set(fields)) for column in mapping)


def texts_of(sheet: Sheet, mapping: ColumnMapping, field: str) -> list[str]:
    """Return the first texts in the column of a field, without the empty ones."""
    index = next((column.index for column in mapping if column.field == field), None)
    return [] if index is None else _samples(sheet)[index]


def _corrected(column: Column, chosen: Mapping[str, tuple[str, str]], taken: set[str]) -> Column:
    if column.heading in chosen:
        field, unit = chosen[column.heading]
        return replace(column, field=field, unit=unit or _unit(field, column.heading))
    return replace(column, field="", unit="") if column.field in taken else column


def _checked_use(use: str) -> tuple[str, str]:
    field, _, unit = use.partition(":")
    if field and field not in BY_NAME:
        msg = f"“{field}” is not a field; the fields are: {', '.join(BY_NAME)}."
        raise MappingError(msg)
    if unit and unit not in UNIT_LABELS:
        msg = f"“{unit}” is not a unit; the units are: {', '.join(UNIT_LABELS)}."
        raise MappingError(msg)
    return field, unit


def _unit(field: str, heading: str) -> str:
    return take_apart(heading).unit if field == "volume" else ""


def _is_reason(heading: str) -> bool:
    return plain(heading) == REASON_HEADING


def _wish(heading: str, texts: Sequence[str]) -> tuple[str, int]:
    if _is_reason(heading):
        return "", 0
    field, score = match_heading(heading)
    if field is None:
        return "", 0
    if field.name == "volume" and texts and _mostly(texts, lambda text: bool(_kind(text))):
        return "kind", score - 1
    return field.name, score


def _contents_fit(name: str, texts: Sequence[str]) -> bool:
    """Whether what stands in a column can be what its heading promises (positions only)."""
    if name == "position":
        return _mostly(texts, _is_position)
    if name in {"latitude", "longitude", "easting", "northing"}:
        return _mostly(texts, lambda text: any(letter.isdigit() for letter in text))
    return True


def _by_contents(texts: Sequence[str]) -> str:
    """Return the field a column without a known heading must hold, by what stands in it."""
    if len(texts) < 2:
        return ""
    if _mostly(texts, _is_postcode):
        return "postcode"
    if _mostly(texts, lambda text: "@" in text and "." in text):
        return "owner_email"
    if _mostly(texts, _is_lettered_grid_reference):
        return "grid_reference"
    return ""


def _mostly(texts: Sequence[str], test: Callable[[str], object]) -> bool:
    return not texts or sum(bool(test(text)) for text in texts) >= 0.7 * len(texts)


def _kind(text: str) -> str:
    return "" if any(letter.isdigit() for letter in text) else find_word(text, KINDS)


def _is_position(text: str) -> bool:
    return _reads(read_position, text) or _reads(read_grid_reference, text)


def _is_postcode(text: str) -> bool:
    return _reads(read_postcode, text)


def _is_lettered_grid_reference(text: str) -> bool:
    return text[:1].isalpha() and len(text) >= 6 and _reads(read_grid_reference, text)


def _reads(reader: Callable[[str], object], text: str) -> bool:
    try:
        reader(text)
    except AddressError:
        return False
    return True


def _samples(sheet: Sheet) -> list[list[str]]:
    rows = sheet.first_rows(HEAD_ROWS)
    return [
        _written(row.cells[index] for row in rows if index < len(row.cells))
        for index in range(len(sheet.headings))
    ]


def _written(cells: Iterable[Cell]) -> list[str]:
    texts: list[str] = []
    for cell in cells:
        try:
            text = as_text(cell)
        except CellRefusedError:
            continue
        if not is_nothing(text):
            texts.append(text)
    return texts
