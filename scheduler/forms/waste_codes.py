"""Codes under which a works takes waste, typed one a line."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

from django import forms

from customers.forms.dates import DayField
from servicing.models import System

# Codes of the List of Wastes have six figures, in pairs: Commission Decision 2000/532/EC.
CODE = re.compile(r"(\d\d)\s?(\d\d)\s?(\d\d)")
KINDS = {kind.label.lower(): kind.value for kind in System.HOLDS_SLUDGE}

OwnCode = tuple[str, str, dt.date]


class WasteCodesField(forms.CharField):
    """Lines such as `Package treatment plant, 19 08 05, 2026-10-01`: kind, code, from when."""

    widget = forms.Textarea(attrs={"rows": 3})

    def prepare_value(self, value: Any) -> Any:
        """Codes as lines; what was typed as it is."""
        if not isinstance(value, list):
            return value
        names = {kind: label for label, kind in KINDS.items()}
        return "\n".join(f"{names[kind].capitalize()}, {code}, {day}" for kind, code, day in value)

    def clean(self, value: Any) -> list[OwnCode]:
        """Kind, code and first day of each line, in order."""
        typed: str = super().clean(value)
        lines = [line.strip() for line in typed.splitlines() if line.strip()]
        found = [self.read(line) for line in lines]
        if len({(kind, day) for kind, _, day in found}) < len(found):
            raise forms.ValidationError("One kind has two codes from the same day.")
        return found

    def read(self, line: str) -> OwnCode:
        """One line."""
        parts = [part.strip() for part in line.split(",")]
        if len(parts) != 3:
            message = f"“{line}”: give the kind, the code and the first day, commas between."
            raise forms.ValidationError(message)
        kind, code = KINDS.get(parts[0].lower()), CODE.fullmatch(parts[1])
        if kind is None:
            names = ", ".join(KINDS)
            raise forms.ValidationError(f"“{parts[0]}” is none of these: {names}.")
        if code is None:
            raise forms.ValidationError(f"“{parts[1]}” is no code such as 20 03 04.")
        try:
            day = DayField().clean(parts[2])
        except forms.ValidationError:
            day = None
        if day is None:
            raise forms.ValidationError(f"“{parts[2]}” is no day such as 2026-10-01.")
        return kind, " ".join(code.groups()), day
