"""Forms by which the office settles a job."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from customers.local_days import at_local
from customers.models import Organisation
from scheduler.models import Job

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo


YEARS_AWAY = 15


class DateInput(forms.DateInput):
    """The browser's own date picker."""

    input_type = "date"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%Y-%m-%d", **kwargs)


class TimeInput(forms.TimeInput):
    """The browser's own time picker."""

    input_type = "time"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%H:%M", **kwargs)


class TimeForm(forms.Form):
    """A day and the span within which we come, in local time."""

    day = forms.DateField(widget=DateInput())
    begins = forms.TimeField(label="Between", widget=TimeInput(), initial=dt.time(9))
    ends = forms.TimeField(label="and", widget=TimeInput(), initial=dt.time(12))

    def __init__(self, *args: Any, zone: ZoneInfo, today: dt.date, **kwargs: Any) -> None:
        """Take the zone in which the times are meant."""
        super().__init__(*args, **kwargs)
        self.zone, self.today = zone, today

    def clean(self) -> dict[str, Any]:
        """Give `starts_at` and `ends_at` as moments."""
        given = super().clean() or {}
        day, begins, ends = (given.get(name) for name in ("day", "begins", "ends"))
        if day and day < self.today:
            self.add_error("day", "That day has passed.")
        if begins and ends and ends <= begins:
            self.add_error("ends", "This must be later than the beginning.")
        if day and begins and ends:
            given["starts_at"] = at_local(day, begins, self.zone)
            given["ends_at"] = at_local(day, ends, self.zone)
        return given


class ReasonForm(forms.Form):
    """Why something is called off."""

    because = forms.CharField(label="Reason", max_length=300)


class HandOverForm(forms.Form):
    """Which tanker operator drives a job."""

    operator = forms.ModelChoiceField(
        Organisation.objects.none(),
        required=False,
        label="Driven by",
        empty_label="Ourselves",
        help_text="The operator sees this job and what is needed to do it, nothing else.",
    )

    def __init__(self, *args: Any, organisation: Organisation, **kwargs: Any) -> None:
        """Offer the operator this organisation works with."""
        super().__init__(*args, **kwargs)
        operators = Organisation.objects.filter(pk=organisation.tanker_operator_id or 0)
        self.fields["operator"].queryset = operators  # type: ignore[attr-defined]


class WantJobForm(forms.Form):
    """A job added by hand."""

    kind = forms.ChoiceField(choices=Job.Kind.choices, label="Work")
    due_on = forms.DateField(label="Due on", widget=DateInput())
    why = forms.CharField(label="Why", max_length=300)
    litres = forms.IntegerField(
        label="Litres to take out", required=False, min_value=0, max_value=200_000
    )

    def clean_due_on(self) -> dt.date:
        """Refuse a date a century off."""
        due_on: dt.date = self.cleaned_data["due_on"]
        if abs(due_on.year - timezone.now().year) > YEARS_AWAY:
            message = "This date is many years away: is the year right?"
            raise ValidationError(message)
        return due_on
