"""Which loads are looked at."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django import forms

from customers.forms.dates import DayField
from scheduler.load_lists import MOST_DAYS
from scheduler.models import Tanker

if TYPE_CHECKING:
    from django.http import QueryDict

    from customers.models import Organisation


class LoadsForm(forms.Form):
    """A tanker or all of them, and from when to when."""

    tanker = forms.ModelChoiceField(
        Tanker.objects.none(), required=False, empty_label="Every tanker", to_field_name="public_id"
    )
    first = DayField(label="From")
    last = DayField(label="Until")

    def __init__(self, asked: QueryDict, *, organisation: Organisation, today: dt.date) -> None:
        """The month so far, where nothing is said."""
        told = asked.copy()
        told.setdefault("first", today.replace(day=1).isoformat())
        told.setdefault("last", today.isoformat())
        super().__init__(told, label_suffix="")
        tankers = self.fields["tanker"]
        assert isinstance(tankers, forms.ModelChoiceField)
        rows = Tanker.objects.filter(organisation=organisation).select_related("organisation")
        tankers.queryset = rows.order_by("name")

        for field in self.fields.values():
            look = "form-select" if field is tankers else "form-control"
            field.widget.attrs["class"] = look

    @property
    def days(self) -> list[forms.BoundField]:
        """From and until."""
        return [self["first"], self["last"]]

    def clean(self) -> dict[str, Any]:
        """Days in order, and never so many that the page stands still."""
        told = super().clean() or {}
        first, last = told.get("first"), told.get("last")
        if first and last and last < first:
            self.add_error("last", "It ends before it begins.")
        elif first and last and (last - first).days >= MOST_DAYS:
            self.add_error("first", f"Choose {MOST_DAYS} days at most.")
        return told
