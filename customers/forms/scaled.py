"""Fields typed in the reader's unit and kept in the unit of the database."""

from __future__ import annotations

from typing import Any

from django import forms


class ScaledField(forms.FloatField):
    """Number shown divided by `per_unit` and cleaned times `per_unit`.

    With `per_unit=1000` a length in millimetres is typed in metres. What was typed comes back as
    typed when the form has errors. `whole` gives an integer.
    """

    def __init__(self, *, per_unit: float, whole: bool = False, **fields: Any) -> None:
        super().__init__(**fields)
        self.per_unit = per_unit
        self.whole = whole
        self.widget.attrs.setdefault("step", "any")
        self.widget.attrs.setdefault("inputmode", "decimal")

    def prepare_value(self, value: Any) -> Any:
        """What stands in the field: a stored number in the reader's unit, typed text as it is."""
        if isinstance(value, int | float):
            return f"{value / self.per_unit:.3f}".rstrip("0").rstrip(".")
        return value

    def clean(self, value: Any) -> float | int | None:
        """What goes into the database."""
        typed: float | None = super().clean(value)
        if typed is None:
            return None
        scaled = typed * self.per_unit
        return round(scaled) if self.whole else scaled

    def has_changed(self, initial: Any, data: Any) -> bool:
        """Compare in the reader's unit."""
        return super().has_changed(self.prepare_value(initial), data)
