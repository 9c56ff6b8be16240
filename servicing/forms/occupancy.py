"""Who uses a system, and from when."""

from __future__ import annotations

import datetime as dt
from calendar import month_name
from typing import Any, ClassVar

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Fieldset, Layout, Row
from django import forms

from customers.forms.dates import PastDayField, tell_today
from customers.forms.scaled import ScaledField
from servicing.models import Occupancy

MONTHS = [("", "All year"), *((number, month_name[number]) for number in range(1, 13))]
SEASON = ("season_starts_month", "season_ends_month")


def _month(label: str) -> forms.TypedChoiceField:
    return forms.TypedChoiceField(
        choices=MONTHS, coerce=int, empty_value=None, required=False, label=label
    )


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
    guest_nights = ScaledField(
        per_unit=1,
        required=False,
        min_value=0,
        max_value=20_000,
        label="Guest nights a year",
        help_text="Each guest counts: four guests for a week are 28. Empty: hardly any.",
    )
    season_starts_month = _month("Used from the start of")
    season_ends_month = _month("to the end of")
    since = PastDayField(required=False, label="From", help_text="Empty: as long as we know of.")

    # What is as before unless somebody says otherwise.
    GOES_ON: ClassVar = (
        "use", "persons", "weeks_per_year", *SEASON, "guest_nights", "kitchen_grinder"
    )  # fmt: skip

    class Meta:
        model = Occupancy
        fields: ClassVar = [
            "use", "persons", "since", "weeks_per_year", *SEASON, "guest_nights", "kitchen_grinder"
        ]  # fmt: skip
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
                Row(*SEASON),
                "guest_nights",
                "kitchen_grinder",
            )
        )

    def clean_guest_nights(self) -> int:
        """Nobody who is said to stay is nobody."""
        return int(self.cleaned_data["guest_nights"] or 0)

    def clean(self) -> dict[str, Any]:
        """A season has two ends."""
        facts = super().clean() or self.cleaned_data
        first, last = (facts.get(name) for name in SEASON)
        if (first is None) != (last is None):
            self.add_error(SEASON[last is None], "Say both months, or all year for both.")
        return facts
