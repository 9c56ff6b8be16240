"""The job sheet as a form: one part for the visit, one for each tank, chamber and defect."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from django import forms

from scheduler.forms.sheet_fields import ClosingForm, number, yes_no
from scheduler.forms.sheet_proof import ProofForm
from servicing.models import ChamberFinding, Defect, FieldFinding, System, Visit

if TYPE_CHECKING:
    from servicing.models import Chamber


class VisitForm(ProofForm, ClosingForm):
    """The part of the sheet that is asked once, in the order of the work."""

    REMOVED = [
        ("all", "All of it"),
        ("part", "Part only"),
        ("none", "Nothing"),
    ]

    cautions_read = forms.BooleanField(
        label="I have read the cautions and work by them",
        error_messages={"required": "Read the cautions and say so before the cover moves."},
    )
    ground = forms.ChoiceField(
        label="The ground is",
        choices=Visit.Ground.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Say how the ground is: it decides how much may be taken out."},
    )
    removed = forms.ChoiceField(
        label="What was taken out",
        choices=REMOVED,
        widget=forms.RadioSelect,
        error_messages={"required": "Say what was taken out."},
    )
    volume_removed = forms.FloatField(
        label="How much was taken out",
        required=False,
        min_value=0,
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"}),
    )
    volume_left = forms.FloatField(
        label="How much sludge stayed in, about",
        required=False,
        min_value=0,
        help_text="Needed when only a part was taken out.",
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"}),
    )
    refilled_with_water = forms.BooleanField(label="Refilled with water", required=False)
    effluent_ran_back = forms.BooleanField(
        label="Water ran back in from the outlet while emptying", required=False
    )
    surface = forms.ChoiceField(
        label="Its surface is",
        choices=[("", "Not looked at"), *FieldFinding.Surface.choices],
        required=False,
        widget=forms.RadioSelect,
    )
    smell = forms.BooleanField(label="It smells", required=False)
    field_notes = forms.CharField(label="About the field", max_length=300, required=False)
    blower_running = yes_no("The blower runs")
    air_filter_cleaned = forms.BooleanField(label="Air filter cleaned or changed", required=False)
    alarm_works = yes_no("The alarm works")
    effluent_clear = yes_no("The effluent is clear")
    settled_sludge_ml_per_l = number(
        "Settled sludge after 30 minutes, mL/L", help_text="The jar test (SV30)."
    )
    plant_notes = forms.CharField(label="About the plant", max_length=300, required=False)
    serviced = forms.BooleanField(label="The plant was serviced on this visit", required=False)
    lid_back_on = forms.BooleanField(
        label="The cover is back on and fastened",
        error_messages={"required": "Put the cover back on and fasten it before you close."},
    )
    who_was_present = forms.CharField(
        label="Who was there",
        max_length=160,
        required=False,
        help_text="A name, or nobody and where the note was left.",
    )

    # Parts of the sheet that a system may not have.
    PARTS: dict[str, tuple[str, ...]] = {
        "removal": (
            "removed",
            "volume_removed",
            "volume_left",
            "refilled_with_water",
            "effluent_ran_back",
        ),
        "field": ("surface", "smell", "field_notes"),
        "plant": (
            "blower_running",
            "air_filter_cleaned",
            "alarm_works",
            "effluent_clear",
            "settled_sludge_ml_per_l",
            "plant_notes",
            "serviced",
        ),
    }

    def __init__(
        self,
        *args: Any,
        parts: Iterable[str],
        volume_unit: str,
        emptying: bool,
        correcting: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        for name in self.PROOF if correcting else ():
            del self.fields[name]
        self.parts = frozenset(parts)
        self.emptying = emptying
        for part, names in self.PARTS.items():
            if part not in self.parts:
                for name in names:
                    del self.fields[name]
        if "removal" in self.parts:
            for name in ("volume_removed", "volume_left"):
                self.fields[name].label = f"{self.fields[name].label}, {volume_unit}"
        if "plant" in self.parts:
            self.fields["settled_sludge_ml_per_l"].max_value = 1000  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Volumes belong to what was taken out, and an emptying takes something out."""
        cleaned = super().clean() or {}
        removed = cleaned.get("removed")
        if removed in ("all", "part") and not self.was_given("volume_removed"):
            self.add_error("volume_removed", "Say how much was taken out.")
        if removed == "part" and not self.was_given("volume_left"):
            self.add_error("volume_left", "Say about how much sludge stayed in.")
        if removed == "none" and self.emptying:
            self.add_error(
                "removed",
                "This job is an emptying. If nothing could be taken out, close it with a reason "
                "under “It could not be done”.",
            )
        return cleaned

    def was_given(self, name: str) -> bool:
        """Whether a figure was typed, right or wrong: the wrong one has its own message."""
        return name in self.errors or self.cleaned_data.get(name) is not None


class ChamberForm(forms.Form):
    """What lay in one chamber."""

    flow = forms.ChoiceField(
        label="Flow",
        choices=[("", "Not opened"), *ChamberFinding.Flow.choices],
        required=False,
        widget=forms.RadioSelect,
    )
    debris = forms.ChoiceField(
        label="Mostly", choices=ChamberFinding.Debris.choices, required=False
    )
    amount = forms.TypedChoiceField(
        label="How much of it is filled",
        choices=ChamberFinding.Amount.choices,
        coerce=int,
        empty_value=None,
        required=False,
    )
    standing_water_mm = number("Standing water, mm")
    action = forms.ChoiceField(label="Done", choices=ChamberFinding.Action.choices, required=False)
    remark = forms.CharField(label="Remark", max_length=300, required=False)

    def __init__(self, *args: Any, chamber: Chamber, **kwargs: Any) -> None:
        super().__init__(*args, **{**kwargs, "prefix": f"chamber-{chamber.pk}"})
        self.chamber = chamber

    def clean(self) -> dict[str, Any]:
        """A chamber that was opened says how the water ran; debris and amount go together."""
        cleaned = super().clean() or {}
        told = cleaned.get("debris") not in (None, "", "none") or cleaned.get("amount")
        told = told or cleaned.get("standing_water_mm") is not None or cleaned.get("remark")
        if told and not cleaned.get("flow"):
            self.add_error("flow", "Say how the water ran.")
        if bool(cleaned.get("amount")) != (cleaned.get("debris") not in (None, "", "none")):
            self.add_error("amount", "Give both: what lies in it and how much.")
        return cleaned


class DefectForm(forms.Form):
    """Something wrong that has to be mended."""

    what = forms.CharField(label="What is wrong", max_length=300, required=False)
    severity = forms.ChoiceField(
        label="How bad", choices=[("", "Choose"), *Defect.Severity.choices], required=False
    )

    def clean(self) -> dict[str, Any]:
        """Both or neither."""
        cleaned = super().clean() or {}
        if cleaned.get("what") and not cleaned.get("severity"):
            self.add_error("severity", "Say how bad it is.")
        if cleaned.get("severity") and not cleaned.get("what"):
            self.add_error("what", "Say what is wrong.")
        return cleaned


def parts_of(system: System) -> frozenset[str]:
    """Parts of the sheet that apply to a system: removal, field, plant."""
    parts = set()
    if system.holds_sludge:
        parts.add("removal")
    soaks = (System.Discharge.DRAINAGE_FIELD, System.Discharge.SOAKAWAY)
    if system.kind == System.Kind.SOAKAWAY or system.discharge in soaks:
        parts.add("field")
    if system.kind == System.Kind.PACKAGE_PLANT:
        parts.add("plant")
    return frozenset(parts)
