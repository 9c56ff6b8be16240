"""What a driver enters at a works."""

from __future__ import annotations

from typing import Any

from django import forms

from servicing.volumes import UNIT_NAMES, to_litres

MOST_TIPPED_LITRES = 60_000


class LitresForm(forms.Form):
    """A volume typed in the units of whoever drives, taken as litres."""

    volume = forms.FloatField(
        min_value=0, widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"})
    )
    what = ""
    missing = ""

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.units = units
        self.fields["volume"].label = f"{self.what}, {UNIT_NAMES[units]}"
        self.fields["volume"].error_messages["required"] = self.missing

    def clean_volume(self) -> float:
        """Litres; no tanker holds more than MOST_TIPPED_LITRES."""
        litres = to_litres(self.cleaned_data["volume"], self.units)
        if litres > MOST_TIPPED_LITRES:
            message = "No tanker holds that much."
            raise forms.ValidationError(message)
        return litres


class TipForm(LitresForm):
    """The weighbridge or meter figure and the number on the ticket."""

    what, missing = "Tipped", "Say how much was tipped."
    ticket = forms.CharField(
        label="Ticket number",
        max_length=60,
        error_messages={"required": "Give the number on the ticket."},
    )


class LoadForm(LitresForm):
    """What one of several visits to a job took out."""

    what, missing = "Taken out on this visit", "Say how much was taken out."
    lid_back_on = forms.BooleanField(
        label="The cover is back on and its bolts are in",
        error_messages={"required": "Nobody leaves an open cover: put it back, then tick this."},
    )
    note = forms.CharField(label="Note for whoever comes next", max_length=300, required=False)
