"""What a customer does, by its code."""

from __future__ import annotations

import re
from typing import Any

from django import forms

# Standard Industrial Classification 2007 (Office for National Statistics): four or five figures,
# often written with a point and a slash.
SIC = re.compile(r"[0-9]{2}\.?[0-9]{1,2}(?:/?[0-9])?")


class ActivityField(forms.CharField):
    """SIC code of what the customer does."""

    def __init__(self, **fields: Any) -> None:
        fields.setdefault("label", "SIC code of the customer's activity")
        fields.setdefault("required", False)
        fields.setdefault("help_text", "Empty for a household: 55100 for a hotel, for instance.")
        super().__init__(**{"max_length": 8, **fields})

    def clean(self, value: Any) -> str:
        """Refuse what cannot be such a code."""
        typed: str = super().clean(value).strip()
        if typed and not SIC.fullmatch(typed):
            message = "A SIC code has four or five figures, such as 5510 or 55.10/1."
            raise forms.ValidationError(message)
        return typed
