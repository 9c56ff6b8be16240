"""What a driver enters at a works."""

from __future__ import annotations

from typing import Any

from django import forms

from servicing.volumes import UNIT_NAMES, to_litres

MOST_TIPPED_LITRES = 60_000


class TipForm(forms.Form):
    """The weighbridge or meter figure and the number on the ticket."""

    volume = forms.FloatField(
        label="Tipped",
        min_value=0,
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"}),
        error_messages={"required": "Say how much was tipped."},
    )
    ticket = forms.CharField(
        label="Ticket number",
        max_length=60,
        error_messages={"required": "Give the number on the ticket."},
    )

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.units = units
        self.fields["volume"].label = f"Tipped, {UNIT_NAMES[units]}"

    def clean_volume(self) -> float:
        """Litres; no tanker holds more than MOST_TIPPED_LITRES."""
        litres = to_litres(self.cleaned_data["volume"], self.units)
        if litres > MOST_TIPPED_LITRES:
            message = "No tanker holds that much."
            raise forms.ValidationError(message)
        return litres
