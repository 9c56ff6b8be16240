"""A system as the office types it, and an interval of its own."""

from __future__ import annotations

import datetime as dt
from typing import Any, ClassVar

from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Fieldset, Layout, Row
from django import forms

from customers.forms.choices import name_blank_choices
from customers.forms.dates import DayField, PastDayField, tell_today
from customers.forms.premises import POSITION_MAP
from customers.models import Organisation, Premises
from servicing.models import System


def system_layout() -> Layout:
    """The fields in the order in which they are asked."""
    return Layout(
        Fieldset(
            "The system",
            Row("reference", "kind"),
            Row("make_and_model", "serial_number"),
            Row("design_population", "bedrooms"),
            "discharge",
        ),
        Fieldset(
            "Leave to discharge",
            Row("registration", "registration_holder", "registration_valid_to"),
            "under_permit",
            "check_reminders",
        ),
        Fieldset("Its past", Row("installed_on", "last_emptied_on", "last_serviced_on")),
        Fieldset("Intervals", Row("maker_interval_months", "service_interval_months")),
        Fieldset(
            "The lid",
            "lid_note",
            Row("lid_corner", "lid_corner_m"),
            Row("lid_other_corner", "lid_other_corner_m"),
            "corners_apart_m",
            Row("lid_latitude", "lid_longitude"),
            HTML(POSITION_MAP.format(thing="the lid")),
        ),
        Fieldset("More", "notes", "retired_on"),
    )


class SystemForm(forms.ModelForm[System]):
    """What the system is and what is known of its past."""

    installed_on = PastDayField(required=False, label="Installed on")
    last_emptied_on = PastDayField(
        required=False, label="Last emptied on", help_text="By us or by anybody."
    )
    registration_valid_to = DayField(
        required=False, label="Valid until", help_text="Only where it runs out."
    )
    last_serviced_on = PastDayField(required=False, label="Last serviced on")
    retired_on = PastDayField(
        required=False,
        label="Out of use since",
        help_text="Only when it no longer takes sewage. It stays in the register.",
    )

    class Meta:
        model = System
        fields: ClassVar = [
            "reference",
            "kind",
            "make_and_model",
            "serial_number",
            "installed_on",
            "last_emptied_on",
            "last_serviced_on",
            "design_population",
            "bedrooms",
            "discharge",
            "registration",
            "registration_holder",
            "registration_valid_to",
            "under_permit",
            "check_reminders",
            "maker_interval_months",
            "service_interval_months",
            "lid_latitude",
            "lid_longitude",
            "lid_note",
            "lid_corner",
            "lid_corner_m",
            "lid_other_corner",
            "lid_other_corner_m",
            "corners_apart_m",
            "notes",
            "retired_on",
        ]
        labels: ClassVar = {
            "discharge": "Discharges to",
            "make_and_model": "Make and model",
            "maker_interval_months": "Maker's longest time between emptyings, months",
            "service_interval_months": "Maker's time between services, months",
            "lid_latitude": "Lid: latitude",
            "lid_longitude": "Lid: longitude",
            "lid_note": "Where to find the lid",
            "lid_corner": "First corner",
            "lid_corner_m": "From it to the lid, metres",
            "lid_other_corner": "Second corner",
            "lid_other_corner_m": "From that to the lid, metres",
            "corners_apart_m": "Corner to corner, metres",
            "registration": "Registration, consent or permit number",
            "registration_holder": "In whose name",
            "under_permit": "Runs under a permit of its own",
            "check_reminders": "Remind the operator of a monthly look round",
        }
        help_texts: ClassVar = {
            "lid_latitude": "Empty: the position of the place.",
            "lid_corner": "Of a wall, for example: north-east corner of the house.",
            "corners_apart_m": "With all three the crew's sheet draws it.",
            "lid_note": "For example: 4 m from the east corner, under the second slab.",
            "design_population": "People the system was sized for.",
            "registration": "",
            "registration_holder": "",
            "under_permit": "Not under the general rules: emptied at least yearly, looked at monthly.",
            "check_reminders": "A service message a month; the owner can stop it on their page.",
            "maker_interval_months": "",
            "service_interval_months": "",
        }
        widgets: ClassVar = {
            "lid_latitude": forms.NumberInput(attrs={"step": "any", "data-map-latitude": ""}),
            "lid_longitude": forms.NumberInput(attrs={"step": "any", "data-map-longitude": ""}),
            "notes": forms.Textarea(attrs={"rows": 3}),
        }

    def __init__(
        self,
        *args: Any,
        organisation: Organisation,
        today: dt.date,
        place: Premises | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.organisation = organisation
        place = place or (self.instance.premises if self.instance.premises_id else None)
        if place is not None and place.latitude is not None:
            near = f"{place.latitude:.6f},{place.longitude:.6f}"
            self.fields["lid_latitude"].widget.attrs["data-map-near"] = near
        tell_today(self, today)
        name_blank_choices(self)
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.layout = system_layout()

    def clean_reference(self) -> str:
        """No two systems of one reference."""
        reference: str = self.cleaned_data["reference"].strip()
        others = System.objects.filter(organisation=self.organisation, reference=reference)
        if others.exclude(pk=self.instance.pk).exists():
            message = f"There is a system {reference} already. Give this one another reference."
            raise forms.ValidationError(message)
        return reference

    def clean(self) -> dict[str, Any]:
        """Nothing happens to a system before it is there; a lid has both its numbers."""
        cleaned = super().clean() or self.cleaned_data
        installed = cleaned.get("installed_on")
        for name in ("last_emptied_on", "last_serviced_on", "retired_on"):
            day = cleaned.get(name)
            if installed and day and day < installed:
                said = f"This is before it was installed, on {installed:%-d %B %Y}."
                self.add_error(name, said)
        half = {cleaned.get("lid_latitude") is None, cleaned.get("lid_longitude") is None}
        if len(half) == 2 and not self.errors.keys() & {"lid_latitude", "lid_longitude"}:
            missing = "lid_latitude" if cleaned.get("lid_latitude") is None else "lid_longitude"
            self.add_error(missing, "Give both latitude and longitude, or neither.")
        self.check_corners(cleaned)
        return cleaned

    def check_corners(self, cleaned: dict[str, Any]) -> None:
        """A distance is from somewhere, and three distances make a triangle."""
        for corner in ("lid_corner", "lid_other_corner"):
            if cleaned.get(f"{corner}_m") is not None and not cleaned.get(corner):
                self.add_error(corner, "Say which corner this was measured from.")
        sides = [cleaned.get(n) for n in ("lid_corner_m", "lid_other_corner_m", "corners_apart_m")]
        known = [side for side in sides if side is not None]
        if len(known) == 3 and max(known) * 2 > sum(known):
            self.add_error("corners_apart_m", "These three distances do not meet. Measure again.")


class OverrideForm(forms.Form):
    """A longest interval against the usual rule, and why."""

    months = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=240,
        label="Longest time between emptyings here, months",
        help_text="Empty: the usual rule holds again.",
    )
    reason = forms.CharField(max_length=300, required=False, label="Reason")

    def clean(self) -> dict[str, Any]:
        """No interval without its reason."""
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("months") and not (cleaned.get("reason") or "").strip():
            self.add_error(
                "reason", "Say why: this is kept, and shown with every date that follows."
            )
        return cleaned
