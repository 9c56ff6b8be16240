"""Where a place is and how a tanker gets to it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Fieldset, Layout, Row
from django import forms

from customers.forms.activity import ActivityField
from customers.forms.choices import name_blank_choices
from customers.forms.dates import checked_time_zone
from customers.forms.scaled import ScaledField
from customers.models import Premises

if TYPE_CHECKING:
    from customers.models import Organisation


POSITION_MAP = '{{% include "includes/position_map.html" with thing="{thing}" %}}'


class PremisesForm(forms.ModelForm[Premises]):
    """Address, position and access of a place."""

    gate_width_mm = ScaledField(
        per_unit=1000,
        whole=True,
        required=False,
        min_value=0.5,
        max_value=20,
        label="Gate width, m",
    )
    height_limit_mm = ScaledField(
        per_unit=1000,
        whole=True,
        required=False,
        min_value=1,
        max_value=20,
        label="Height limit, m",
        help_text="Lowest bridge, branch or wire on the way in.",
    )
    weight_limit_kg = ScaledField(
        per_unit=1000,
        whole=True,
        required=False,
        min_value=0.5,
        max_value=60,
        label="Weight limit, t",
        help_text="Weakest bridge, culvert or track on the way in.",
    )
    hose_run_m = ScaledField(
        per_unit=1,
        required=False,
        min_value=0,
        max_value=300,
        label="Hose run, m",
        help_text="From where the tanker can stand to the lid.",
    )
    level_difference_m = ScaledField(
        per_unit=1,
        required=False,
        min_value=-50,
        max_value=50,
        label="Tank below the tanker, m",
        help_text="Negative when the tank lies higher.",
    )

    activity_code = ActivityField(label="SIC code of the business here")

    class Meta:
        model = Premises
        fields: ClassVar = [
            "name",
            "reference",
            "address",
            "town",
            "postcode",
            "activity_code",
            "latitude",
            "longitude",
            "gate_width_mm",
            "height_limit_mm",
            "weight_limit_kg",
            "hose_run_m",
            "level_difference_m",
            "surface",
            "dog",
            "gate_code",
            "access_note",
            "time_zone",
            "activity",
            "activity_declared",
        ]
        labels: ClassVar = {
            "name": "Name of the place",
            "reference": "Your reference",
            "surface": "Where the tanker stands",
            "dog": "There is a dog",
            "access_note": "Getting there",
            "activity": "What goes on there",
            "activity_declared": "Who told you so, and when",
        }
        help_texts: ClassVar = {
            "activity": "VAT on an emptying depends on it.",
            "activity_declared": "Keep the declaration where the customer is industry.",
            "name": "House, farm or pub, as people there call it.",
            "access_note": "What the driver must know: which drive, whom to ring, where to turn.",
        }
        widgets: ClassVar = {
            "address": forms.Textarea(attrs={"rows": 3}),
            "access_note": forms.Textarea(attrs={"rows": 3}),
            "latitude": forms.NumberInput(attrs={"step": "any", "data-map-latitude": ""}),
            "longitude": forms.NumberInput(attrs={"step": "any", "data-map-longitude": ""}),
        }

    def __init__(self, *args: Any, organisation: Organisation, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.organisation = organisation
        name_blank_choices(self)
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.layout = Layout(
            Fieldset(
                "The place",
                Row("name", "reference"),
                "address",
                Row("town", "postcode"),
                "activity_code",
            ),
            Fieldset(
                "Position",
                Row("latitude", "longitude"),
                HTML(POSITION_MAP.format(thing="the place")),
            ),
            Fieldset(
                "Access",
                Row("gate_width_mm", "height_limit_mm", "weight_limit_kg"),
                Row("hose_run_m", "level_difference_m"),
                Row("surface", "gate_code"),
                "dog",
                "access_note",
                "time_zone",
            ),
            Fieldset("For the bill", Row("activity", "activity_declared")),
        )

    def clean_postcode(self) -> str:
        """Postcode in capitals with single spaces."""
        return " ".join(self.cleaned_data["postcode"].upper().split())

    def clean_time_zone(self) -> str:
        """A zone of the time zone database, or the organisation's."""
        return checked_time_zone(self.cleaned_data["time_zone"])

    def clean(self) -> dict[str, Any]:
        """A place needs something to be called by; a position needs both its numbers."""
        cleaned = super().clean() or self.cleaned_data
        if not any(cleaned.get(name) for name in ("name", "address", "postcode")):
            self.add_error("name", "Give a name, an address or a postcode to know the place by.")
        half = {cleaned.get("latitude") is None, cleaned.get("longitude") is None}
        if len(half) == 2 and not self.errors.keys() & {"latitude", "longitude"}:
            missing = "latitude" if cleaned.get("latitude") is None else "longitude"
            self.add_error(missing, "Give both latitude and longitude, or neither.")
        return cleaned
