"""Who uses a system, and from when."""

from __future__ import annotations

import datetime as dt
from typing import Any, ClassVar

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Fieldset, Layout, Row
from django import forms

from customers.forms.dates import PastDayField, tell_today
from customers.forms.scaled import ScaledField
from servicing.models import Occupancy


class OccupancyForm(forms.ModelForm[Occupancy]):
    """Who uses the system, from when."""

    persons = ScaledField(
        per_unit=1,
        required=False,
        min_value=0,
        max_value=5000,
        label="How many",
        help_text="People, beds, meals, seats or bowls, as the use says. Empty: not known.",
    )
    since = PastDayField(required=False, label="From", help_text="Empty: as long as we know of.")

    class Meta:
        model = Occupancy
        fields: ClassVar = ["use", "persons", "since", "weeks_per_year", "kitchen_grinder"]
        labels: ClassVar = {
            "use": "Used as",
            "weeks_per_year": "Weeks a year",
            "kitchen_grinder": "There is a food grinder in the kitchen sink",
        }

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        tell_today(self, today)
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.layout = Layout(
            Fieldset(
                "Who uses it",
                Row("use", "persons"),
                Row("since", "weeks_per_year"),
                "kitchen_grinder",
            )
        )
