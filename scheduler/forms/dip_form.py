"""The part of a sheet about one tank: levels as a crew reads them, turned into depths."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms

from scheduler.forms.sheet_fields import DEEPEST_MM, number
from servicing import readings
from servicing.dip_readings import dip_read, entered_words
from servicing.models import Dip
from servicing.tank_drawings import drawing_of

if TYPE_CHECKING:
    from servicing.models import Tank
    from servicing.visit_facts import DipFound

# Where a depth that cannot be is shown, by the way in which it was read.
SHOWN_AT = {
    readings.COVER: {
        "sludge_mm": "down_sludge",
        "scum_mm": "down_scum_bottom",
        "liquid_level_mm": "down_liquid",
    },
    readings.NOTCHES: {"sludge_mm": "notch_sludge", "scum_mm": "notch_scum"},
    readings.CLEAR_SPACE: {"sludge_mm": "clear_sludge", "scum_mm": "clear_scum"},
}


def notches(label: str, *, help_text: str = "") -> forms.FloatField:
    """A count of notches, halves too."""
    return forms.FloatField(
        label=label,
        required=False,
        min_value=0,
        max_value=500,
        help_text=help_text,
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"}),
    )


class DipForm(forms.Form):
    """Levels in one tank before anything is removed."""

    way = forms.ChoiceField(
        label="How it is read", choices=readings.WAYS, initial=readings.DEPTHS, required=False
    )
    sludge_mm = number("Sludge from the floor, mm")
    scum_mm = number("Scum, mm thick")
    down_scum_top = number("Top of the scum, mm down")
    down_scum_bottom = number("Underside of the scum, mm down")
    down_sludge = number("Top of the sludge, mm down")
    down_floor = number("Floor, mm down")
    down_liquid = number("Liquid, mm down")
    notch_mm = number("One notch is, mm", least=1)
    notch_sludge = notches("Sludge, notches", help_text="Halves count: 7.5.")
    notch_scum = notches("Scum, notches")
    clear_sludge = number("Clear above the sludge, mm")
    clear_scum = number("Clear below the scum, mm")
    liquid_level_mm = number(
        "Liquid against the outlet, mm",
        help_text="0 at the outlet; above it as 50, below it as -50.",
        least=-DEEPEST_MM,
    )
    method = forms.ChoiceField(
        label="Measured with", choices=Dip.Method.choices, initial=Dip.Method.CORE_SAMPLER
    )

    def __init__(self, *args: Any, tank: Tank, units: str = "litres", **kwargs: Any) -> None:
        super().__init__(*args, **{**kwargs, "prefix": f"tank-{tank.pk}"})
        self.tank = tank
        self.drawing = drawing_of(tank, units)
        self.found: DipFound | None = None
        end = "the outlet"
        if tank.outlet_dip_pipe_mm:
            end = "the end of the outlet's dip pipe"
            self.fields["clear_scum"].help_text = "From its underside down to the end of that pipe."
        else:
            del self.fields["clear_scum"]
        self.fields["clear_sludge"].help_text = f"From its top up to {end}."
        if tank.cover_above_floor_mm:
            self.fields[
                "down_floor"
            ].help_text = (
                f"{tank.cover_above_floor_mm:,} mm by the register: leave empty if that is right."
            )

    @property
    def drawing_id(self) -> str:
        """Id of the element that holds the facts of the drawing."""
        return f"{self.prefix}-facts"

    @property
    def has_reading(self) -> bool:
        """Whether any level was given."""
        return readings.says_something(self.way_told, self.cleaned_data)

    @property
    def way_told(self) -> str:
        """The way chosen; a sheet without the choice tells depths."""
        return self.cleaned_data.get("way") or readings.DEPTHS

    def clean(self) -> dict[str, Any]:
        """Turn the figures into depths; those under another way than the one chosen are no answer."""
        told = super().clean() or {}
        if self.errors:
            return told
        stray = next((way for way, _ in readings.WAYS if self.strays(way)), None)
        if stray is not None:
            words = dict(readings.WAYS)[stray]
            self.add_error("way", f"There are figures under “{words}”: choose it, or empty them.")
        elif self.has_reading:
            self.turn(told)
        return told

    def strays(self, way: str) -> bool:
        """Whether figures stand under a way that was not chosen."""
        if way == self.way_told:
            return False
        own = set(readings.FIGURES[self.way_told]) | readings.NOT_READ
        return any(
            self.cleaned_data.get(n) is not None for n in readings.FIGURES[way] if n not in own
        )

    def turn(self, told: dict[str, Any]) -> None:
        """Keep what the figures come to, or say at the figure why they cannot be."""
        try:
            self.found = dip_read(
                tank=self.tank, way=self.way_told, figures=told, method=told["method"]
            )
        except readings.ReadingRefused as refused:
            self.add_error(refused.figure if refused.figure in self.fields else "way", refused.text)

    def place_of(self, name: str) -> str:
        """The field at which a refusal of a depth is shown."""
        return SHOWN_AT.get(self.way_told, {}).get(name, name)


def dip_start(dip: Dip) -> dict[str, Any]:
    """A reading already recorded as the form's own fields: as entered, where that was kept."""
    if entered_words(dip.entered):
        told = {key: value for key, value in dip.entered.items() if key in DipForm.base_fields}
    else:
        told = {
            "sludge_mm": dip.sludge_mm,
            "scum_mm": dip.scum_mm,
            "liquid_level_mm": dip.liquid_level_mm,
        }
    return {**told, "method": dip.method}
