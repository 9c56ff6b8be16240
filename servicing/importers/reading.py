"""The cells of one row by the meaning of their columns, and the list of what is wrong with them."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from customers.addresses import AddressError

from .cells import CellRefusedError, as_text, is_nothing
from .columns import Column, ColumnMapping
from .rows import CellError, RowErrors
from .sheets import Cell, SheetRow

Read = TypeVar("Read")


class RowReader:
    """Reads the cells of a row by field and keeps every refusal and remark."""

    def __init__(self, row: SheetRow, mapping: ColumnMapping) -> None:
        self.row = row
        self.found: list[CellError] = []
        self.remarks: list[str] = []
        self._columns: dict[str, Column] = {one.field: one for one in mapping if one.field}
        self._refused: set[str] = set()

    def has(self, field: str) -> bool:
        """Whether the file has a column of this field at all."""
        return field in self._columns

    def unit(self, field: str) -> str:
        """Unit fixed for the column of a field, "" when none."""
        column = self._columns.get(field)
        return column.unit if column else ""

    def cell(self, field: str) -> Cell:
        """Cell as it stands in the file, None where there is no such column or cell."""
        column = self._columns.get(field)
        if column is None or column.index >= len(self.row.cells):
            return None
        return self.row.cells[column.index]

    def read(self, field: str, parse: Callable[[Cell], Read]) -> Read | None:
        """Return what `parse` makes of the cell; None when it says nothing or is refused."""
        cell = self.cell(field)
        if cell is None:
            return None
        try:
            if is_nothing(as_text(cell)) and field != "discharge":
                return None
            return parse(cell) if as_text(cell) else None
        except (CellRefusedError, AddressError) as error:
            self.refuse_field(field, str(error))
            return None

    def text(self, field: str, *, most: int) -> str:
        """Return the text of a cell, "" when it says nothing; one that is too long is refused."""
        text = self.read(field, as_text) or ""
        if len(text) > most:
            self.refuse_field(field, f"is longer than {most} characters")
            return text[:most]
        return text

    def refuse_field(self, field: str, reason: str) -> None:
        """Note that the cell of a field is wrong, once per cell and reason."""
        column = self._columns.get(field)
        self._refused.add(field)
        self.refuse(column.heading if column else "", reason)

    def refuse(self, heading: str, reason: str) -> None:
        """Note that something is wrong under a heading ("" = with the row as a whole)."""
        error = CellError(heading, reason)
        if error not in self.found:
            self.found.append(error)

    def is_refused(self, field: str) -> bool:
        """Whether the cell of a field was refused already."""
        return field in self._refused

    def remark(self, text: str) -> None:
        """Note what was taken on trust, for the person who brings the file."""
        self.remarks.append(text)

    def errors(self) -> RowErrors:
        """Return the row as refused."""
        return RowErrors(self.row.line, self.row.cells, tuple(self.found))
