"""Reading the fields of a sheet: each of its kind, or an error naming the item and field."""

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from scheduler.routing.errors import BadSheet

MISSING: Any = object()
CLOCK = re.compile(r"([01]?\d|2[0-4]):([0-5]\d)")
LARGEST_NUMBER = 1e12


@dataclass(slots=True)
class Row:
    """One object of the sheet; remembers which fields were read, so that none is overlooked."""

    name: str
    values: Mapping[str, Any]
    read: set[str] = field(default_factory=set)

    def wrong(self, name: str, what: str) -> BadSheet:
        """The error for one field."""
        return BadSheet(f"{self.name}: {name} {what}.", item=self.name, field=name)

    def require_all_read(self) -> None:
        """Refuse a field nobody asked for: a misspelt one would be lost in silence."""
        for name in self.values:
            if name not in self.read:
                raise self.wrong(str(name), "is not a field of this sheet")

    def get(self, name: str, default: Any = MISSING) -> Any:
        """The raw value; null counts as not given."""
        self.read.add(name)
        value = self.values.get(name)
        if value is not None:
            return value
        if default is MISSING:
            raise self.wrong(name, "is missing")
        return default

    def number(self, name: str, default: Any = MISSING) -> float:
        """A finite number."""
        value = self.get(name, default)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.wrong(name, f"must be a number, not {value!r}")
        if not math.isfinite(value) or abs(value) > LARGEST_NUMBER:
            raise self.wrong(name, f"cannot be {value}")
        return float(value)

    def optional_number(self, name: str) -> float | None:
        """A number, or nothing."""
        return None if self.get(name, None) is None else self.number(name)

    def whole(self, name: str, default: Any = MISSING) -> int:
        """A whole number."""
        value = self.number(name, default)
        if value != int(value):
            raise self.wrong(name, f"must be a whole number, not {value}")
        return int(value)

    def minutes(self, name: str, default: Any = MISSING) -> int:
        """Minutes in the sheet, seconds inside."""
        return round(self.number(name, default) * 60)

    def optional_minutes(self, name: str) -> int | None:
        """Minutes in the sheet, seconds inside, or nothing."""
        return None if self.get(name, None) is None else self.minutes(name)

    def text(self, name: str, default: Any = MISSING) -> str:
        """A text; an id may be written as a whole number."""
        value = self.get(name, default)
        if isinstance(value, bool) or not isinstance(value, str | int):
            raise self.wrong(name, "must be a text")
        if default is MISSING and not str(value).strip():
            raise self.wrong(name, "is empty")
        return str(value)

    def yes(self, name: str) -> bool:
        """True or false; false when not given."""
        value = self.get(name, default=False)
        if not isinstance(value, bool):
            raise self.wrong(name, "must be true or false")
        return value

    def day(self, name: str) -> date:
        """A date like 2027-03-01."""
        return self._day(name, self.get(name))

    def optional_day(self, name: str) -> date | None:
        """A date, or nothing."""
        value = self.get(name, None)
        return None if value is None else self._day(name, value)

    def days(self, name: str) -> frozenset[date]:
        """A list of dates; empty when not given."""
        return frozenset(self._day(name, value) for value in self.sequence(name, ()))

    def _day(self, name: str, value: Any) -> date:
        try:
            return date.fromisoformat(value)
        except (TypeError, ValueError):
            raise self.wrong(name, f"must be a date like 2027-03-01, not {value!r}") from None

    def words(self, name: str) -> frozenset[str]:
        """A list of texts; empty when not given."""
        return frozenset(str(value) for value in self.sequence(name, ()))

    def sequence(self, name: str, default: Any = MISSING) -> Sequence[Any]:
        """A list."""
        value = self.get(name, default)
        if not isinstance(value, list | tuple):
            raise self.wrong(name, "must be a list")
        return value

    def clock(self, name: str, default: int) -> int:
        """A time of day like 07:30, in seconds after midnight."""
        value = self.get(name, None)
        return default if value is None else self._clock(name, value)

    def clock_pair(self, name: str, default: tuple[int, int]) -> tuple[int, int]:
        """Two times of day: from and until."""
        value = self.get(name, None)
        if value is None:
            return default
        if not isinstance(value, list) or len(value) != 2:
            raise self.wrong(name, "must be two times like [“07:00”, “16:30”]")
        return self._clock(name, value[0]), self._clock(name, value[1])

    def _clock(self, name: str, value: Any) -> int:
        found = CLOCK.fullmatch(value) if isinstance(value, str) else None
        if found is None:
            raise self.wrong(name, f"must be a time like 07:30, not {value!r}")
        return int(found[1]) * 3600 + int(found[2]) * 60

    def row(self, name: str) -> "Row | None":
        """An object inside this one."""
        value = self.get(name, None)
        if value is None:
            return None
        if not isinstance(value, Mapping):
            raise self.wrong(name, "must be an object")
        return Row(name, value)


def rows_of(top: Row, name: str) -> Iterator[Row]:
    """The objects of a list, each named for its id or its place in the list."""
    for number, value in enumerate(top.sequence(name, ()), start=1):
        if not isinstance(value, Mapping):
            raise BadSheet(f"{name} {number} must be an object.", item=name, field=name)
        yield Row(f"{name} {value.get('id', number)}", value)
