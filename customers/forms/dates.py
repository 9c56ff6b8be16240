"""Days as forms take them."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

EARLIEST = dt.date(1900, 1, 1)


class DayField(forms.DateField):
    """A day, typed or picked; also understands 25/11/2026 and 25 Nov 2026."""

    def __init__(self, **fields: Any) -> None:
        fields.setdefault("widget", forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
        fields.setdefault("input_formats", ["%Y-%m-%d", "%d/%m/%Y", "%d.%m.%Y", "%d %b %Y"])
        super().__init__(**fields)

    def clean(self, value: Any) -> dt.date | None:
        """Refuse a day before anything that is still in the ground."""
        day: dt.date | None = super().clean(value)
        if day is not None and day < EARLIEST:
            message = _("Give a day after 1900.")
            raise forms.ValidationError(message)
        return day


class PastDayField(DayField):
    """A day that has been: not after the `today` its form was given."""

    today: dt.date | None = None

    def clean(self, value: Any) -> dt.date | None:
        """Refuse a day that is still to come."""
        day: dt.date | None = super().clean(value)
        if day is not None and self.today is not None and day > self.today:
            message = "This day is still to come. Give the day on which it happened."
            raise forms.ValidationError(message)
        return day


def tell_today(form: forms.BaseForm, today: dt.date) -> None:
    """Give every field of a form that asks for a past day the day it is now."""
    for field in form.fields.values():
        if isinstance(field, PastDayField):
            field.today = today


def checked_time_zone(name: str) -> str:
    """Name of a zone of the time zone database, or empty; anything else is refused."""
    if name and name not in zoneinfo.available_timezones():
        message = "This is not a time zone. Try one such as Europe/London or Europe/Dublin."
        raise forms.ValidationError(message)
    return name
