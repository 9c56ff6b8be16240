"""What is chosen when a paper is issued."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from customers.forms.activity import ActivityField
from customers.forms.dates import DayField
from customers.forms.scaled import ScaledField
from servicing.documents import last_day


class ActivityForm(forms.Form):
    """What the customer does, for the transfer note of one emptying."""

    activity_code = ActivityField()


class SeasonTicketForm(forms.Form):
    """The season, and what the customer does."""

    begins_on = DayField(label="First day")
    ends_on = DayField(label="Last day", help_text="Twelve months at most.")
    activity_code = ActivityField()

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"begins_on": today, "ends_on": last_day(today)})
        super().__init__(*args, **kwargs)


class RenewalNoticeForm(forms.Form):
    """The price of the next term, and why it changes."""

    new_price_pence = ScaledField(
        per_unit=100, whole=True, min_value=0, max_value=100_000, label="Price a year, £ before VAT"
    )
    reason = forms.CharField(
        max_length=300,
        required=False,
        label="Why the price changes",
        help_text="Printed on the notice; needed when the price is another one.",
    )


class ReasonForm(forms.Form):
    """Why a paper is issued anew."""

    because = forms.CharField(
        max_length=300,
        label="What was wrong",
        help_text="Printed on the new paper, which names the old one.",
    )
