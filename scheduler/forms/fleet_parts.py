"""What the forms of the fleet share: a name of its own, a position, a list of days."""

from __future__ import annotations

import datetime as dt
import re
from typing import TYPE_CHECKING, Any, TypeVar

from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Fieldset, Row
from django import forms
from django.db import models

from customers.addresses import (
    AddressError,
    Position,
    approximate_position,
    read_grid_reference,
    read_position,
    read_postcode,
)
from customers.forms.dates import DayField
from customers.forms.premises import POSITION_MAP

if TYPE_CHECKING:
    from customers.models import Organisation

RowT = TypeVar("RowT", bound=models.Model)


class FleetForm(forms.ModelForm[RowT]):
    """A row of the fleet of one organisation; its name is its own there."""

    def __init__(self, *args: Any, organisation: Organisation, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.organisation = organisation
        self.helper = FormHelper()
        self.helper.form_tag = False

    def clean_name(self) -> str:
        """A name that no other row of this kind has."""
        name: str = self.cleaned_data["name"].strip()
        same = self._meta.model._default_manager.filter(  # noqa: SLF001 (Django's own names)
            organisation=self.organisation, name__iexact=name
        )
        if same.exclude(pk=self.instance.pk).exists():
            raise forms.ValidationError("There is one of that name already.")
        return name


class PlacedForm(FleetForm[RowT]):
    """A row with a position: typed, pointed at, or found from a grid reference or postcode."""

    where = forms.CharField(
        label="Or a grid reference, a position or a postcode",
        required=False,
        max_length=60,
        help_text="Such as SO 512 774, or 52.39, -2.72. Used when the two above are empty.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("latitude", "longitude"):
            self.fields[name].required = False
            self.fields[name].widget.attrs |= {"step": "any", f"data-map-{name}": ""}

    def clean(self) -> dict[str, Any]:
        """A position from one of the ways of giving it; nowhere is refused."""
        given = super().clean() or self.cleaned_data
        halves = given.get("latitude"), given.get("longitude")
        if self.errors.keys() & {"latitude", "longitude"}:
            return given
        if None not in halves:
            if halves == (0, 0):
                self.add_error("latitude", "Latitude and longitude are both zero: that is at sea.")
            return given
        if halves != (None, None):
            missing = "latitude" if halves[0] is None else "longitude"
            self.add_error(missing, "Give both latitude and longitude.")
        elif given.get("where"):
            self._find(given)
        else:
            self.add_error("latitude", "Say where it is: point at it on the map or type it.")
        return given

    def _find(self, given: dict[str, Any]) -> None:
        try:
            found = position_in(given["where"])
        except AddressError as fault:
            self.add_error("where", f"{str(fault)[:1].upper()}{str(fault)[1:]}.")
        else:
            given["latitude"] = round(found.latitude, 6)
            given["longitude"] = round(found.longitude, 6)


def position_fields(thing: str) -> Fieldset:
    """Field set of a position with the map to point at `thing`."""
    return Fieldset(
        "Position",
        Row("latitude", "longitude"),
        "where",
        HTML(POSITION_MAP.format(thing=thing)),
    )


def position_in(text: str) -> Position:
    """Position written as degrees, as a grid reference or, roughly, as a postcode."""
    for read in (read_position, read_grid_reference):
        try:
            return read(text)
        except AddressError:
            continue
    middle = approximate_position(read_postcode(text))
    if middle is None:
        message = f"where “{text.strip()}” lies is not known here: point at it on the map"
        raise AddressError(message)
    return middle.position


class DaysField(forms.CharField):
    """Days typed one a line (or separated by commas), as ISO dates or 25/12/2026."""

    widget = forms.Textarea(attrs={"rows": 4})

    def prepare_value(self, value: Any) -> Any:
        """Days as lines; what was typed as it is."""
        return "\n".join(str(day) for day in value) if isinstance(value, list) else value

    def clean(self, value: Any) -> list[dt.date]:
        """The days in order, each once."""
        typed = super().clean(value)
        day = DayField()
        found: set[dt.date] = set()
        for text in filter(None, (part.strip() for part in re.split(r"[\n,;]", typed))):
            try:
                read = day.clean(text)
            except forms.ValidationError:
                message = f"“{text}” is not a day such as 2026-12-25 or 25/12/2026."
                raise forms.ValidationError(message) from None
            if read is not None:
                found.add(read)
        return sorted(found)


WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
HOURS_LINE = re.compile(
    r"(?P<day>[a-z]{3})[a-z]*:?\s+(?:(?P<shut>closed|shut)|"
    r"(?P<opens>\d{1,2}[:.]\d{2})\s*(?:-|\N{EN DASH}|to)\s*(?P<closes>\d{1,2}[:.]\d{2}))",
    re.IGNORECASE,
)


class WeekdayHoursField(forms.CharField):
    """Hours of weekdays that differ, one a line: `Fri 07:00-12:00` or `Sat closed`."""

    widget = forms.Textarea(attrs={"rows": 3})

    def prepare_value(self, value: Any) -> Any:
        """Stored hours as lines; what was typed as it is."""
        if not isinstance(value, dict):
            return value
        lines = (
            f"{WEEKDAYS[int(day)]} {'closed' if hours is None else '-'.join(hours)}"
            for day, hours in sorted(value.items())
        )
        return "\n".join(lines)

    def clean(self, value: Any) -> dict[str, list[str] | None]:
        """Hours by number of the weekday, Monday being 0."""
        found: dict[str, list[str] | None] = {}
        for line in filter(
            None, (part.strip() for part in re.split(r"[\n,;]", super().clean(value)))
        ):
            read = HOURS_LINE.fullmatch(line)
            days = [name.lower() for name in WEEKDAYS]
            if read is None or read["day"].lower() not in days:
                message = f"“{line}” is not like Fri 07:00-12:00 or Sat closed."
                raise forms.ValidationError(message)
            key = str(days.index(read["day"].lower()))
            found[key] = None if read["shut"] else _opening(line, read["opens"], read["closes"])
        return found


def _opening(line: str, opens: str, closes: str) -> list[str]:
    """Two times as HH:MM, the second later."""
    try:
        first, last = (
            dt.time.fromisoformat(text.replace(".", ":").zfill(5)) for text in (opens, closes)
        )
    except ValueError:
        message = f"“{line}” has a time that no clock shows."
        raise forms.ValidationError(message) from None
    if last <= first:
        message = f"“{line}” closes before it opens."
        raise forms.ValidationError(message)
    return [f"{first:%H:%M}", f"{last:%H:%M}"]


def minutes_between(opens: str, closes: str) -> int:
    """Minutes from one HH:MM to another."""
    first, last = dt.time.fromisoformat(opens), dt.time.fromisoformat(closes)
    return (last.hour - first.hour) * 60 + last.minute - first.minute
