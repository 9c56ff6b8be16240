"""Parts of a system: tanks, chambers, the drainage field."""

from __future__ import annotations

import datetime as dt
from typing import Any, ClassVar

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Fieldset, Layout, Row
from django import forms

from customers.forms.choices import name_blank_choices
from customers.forms.dates import PastDayField, tell_today
from customers.forms.scaled import ScaledField
from servicing.models import Chamber, DrainageField, System, Tank
from servicing.volumes import LITRES_PER_UNIT, UNIT_NAMES


class TankForm(forms.ModelForm[Tank]):
    """One compartment: its shape, its measures in millimetres, its volume in the reader's unit."""

    working_volume_litres = ScaledField(
        per_unit=1, required=False, label="Working volume", help_text="Below the outlet."
    )

    class Meta:
        model = Tank
        fields: ClassVar = [
            "shape",
            "material",
            "working_volume_litres",
            "length_mm",
            "width_mm",
            "diameter_mm",
            "outlet_height_mm",
            "outlet_dip_pipe_mm",
            "cover_above_floor_mm",
        ]
        labels: ClassVar = {
            "length_mm": "Length, mm",
            "width_mm": "Width, mm",
            "diameter_mm": "Diameter, mm",
            "outlet_height_mm": "Outlet above the floor, mm",
            "outlet_dip_pipe_mm": "Outlet dip pipe below the liquid, mm",
            "cover_above_floor_mm": "Rim of the cover above the floor, mm",
        }
        help_texts: ClassVar = {
            "shape": "With its inside measures a dip in millimetres becomes a volume.",
            "outlet_height_mm": "From the floor of the tank to the invert of the outlet.",
            "outlet_dip_pipe_mm": "",
            "cover_above_floor_mm": "For crews that measure down from the cover.",
        }

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        name_blank_choices(self)
        volume = self.fields["working_volume_litres"]
        assert isinstance(volume, ScaledField)
        volume.per_unit = LITRES_PER_UNIT[units]
        volume.label = f"Working volume, {UNIT_NAMES[units]}"
        self.fields["shape"].choices = [  # type: ignore[attr-defined]
            pair for pair in Tank.Shape.choices if self.keeps(pair[0])
        ]
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.layout = Layout(
            Fieldset(
                "The tank",
                Row("working_volume_litres", "material"),
                "shape",
                Row("length_mm", "width_mm", "diameter_mm"),
                Row("outlet_height_mm", "outlet_dip_pipe_mm", "cover_above_floor_mm"),
            )
        )

    def keeps(self, shape: str) -> bool:
        """A strapping table comes with an import; a form offers it only where there is one."""
        return shape != Tank.Shape.STRAPPING or bool(self.instance.strapping_table)

    def clean_working_volume_litres(self) -> float | None:
        """Between a bucket and the largest tank anybody buries."""
        litres: float | None = self.cleaned_data["working_volume_litres"]
        if litres is not None and not 50 <= litres <= 500_000:
            message = "This is not the volume of a buried tank. Check the figure and the unit."
            raise forms.ValidationError(message)
        return litres

    def clean(self) -> dict[str, Any]:
        """Measures of a buried tank; a shape that asks for one gets it."""
        cleaned = super().clean() or self.cleaned_data
        for name in (
            "length_mm",
            "width_mm",
            "diameter_mm",
            "outlet_height_mm",
            "cover_above_floor_mm",
        ):
            value = cleaned.get(name)
            if value is not None and not 100 <= value <= 30_000:
                self.add_error(name, "Give millimetres, between 100 and 30,000.")
        outlet, across = cleaned.get("outlet_height_mm"), cleaned.get("diameter_mm")
        lying = cleaned.get("shape") in (Tank.Shape.HORIZONTAL_CYLINDER, Tank.Shape.SPHERE)
        if lying and outlet and across and outlet > across:
            self.add_error("outlet_height_mm", "The outlet would be above the top of the tank.")
        cover = cleaned.get("cover_above_floor_mm")
        if cover and outlet and cover <= outlet:
            self.add_error("cover_above_floor_mm", "The cover is above the outlet.")
        return cleaned


class ChamberForm(forms.ModelForm[Chamber]):
    """An opening on the drain that is looked into."""

    last_inspected_on = PastDayField(required=False, label="Last looked into on")

    class Meta:
        model = Chamber
        fields: ClassVar = [
            "label",
            "kind",
            "diameter_mm",
            "depth_mm",
            "pipe_mm",
            "last_inspected_on",
        ]
        labels: ClassVar = {
            "label": "Called",
            "diameter_mm": "Diameter, mm",
            "depth_mm": "Depth to the invert, mm",
            "pipe_mm": "Pipe, mm",
        }

    def __init__(self, *args: Any, system: System, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.system = system
        tell_today(self, today)
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.layout = Layout(
            Row("label", "kind"), Row("diameter_mm", "depth_mm", "pipe_mm"), "last_inspected_on"
        )

    def clean_label(self) -> str:
        """No two chambers of one name on a system."""
        label: str = self.cleaned_data["label"].strip()
        others = self.system.chambers.filter(label=label).exclude(pk=self.instance.pk)
        if others.exists():
            message = "There is a chamber of this name here already."
            raise forms.ValidationError(message)
        return label


class DrainageFieldForm(forms.ModelForm[DrainageField]):
    """Where the effluent soaks away."""

    class Meta:
        model = DrainageField
        fields: ClassVar = ["area_m2", "percolation_s_per_mm", "notes"]
        labels: ClassVar = {
            "area_m2": "Area, m²",
            "percolation_s_per_mm": "Percolation value Vp, s/mm",
        }
        help_texts: ClassVar = {
            "percolation_s_per_mm": (
                "From the percolation test. Approved Document H2 takes values from 12 to 100."
            ),
        }
