"""What every sheet of a crew asks, whether the work was done or not."""

from __future__ import annotations

from typing import Any

from django import forms

from servicing.models import Visit

LOOKED_AT = [("", "Not looked at"), ("yes", "Yes"), ("no", "No")]
DEEPEST_MM = 10_000


def number(label: str, *, help_text: str = "", least: int | None = 0) -> forms.IntegerField:
    """A whole number that a phone offers its digits for."""
    return forms.IntegerField(
        label=label,
        required=False,
        min_value=least,
        max_value=DEEPEST_MM,
        help_text=help_text,
        widget=forms.NumberInput(attrs={"inputmode": "numeric", "step": "1"}),
    )


def yes_no(label: str) -> forms.TypedChoiceField:
    """Yes, no, or not looked at (None)."""
    return forms.TypedChoiceField(
        label=label,
        required=False,
        choices=LOOKED_AT,
        coerce=lambda word: word == "yes",
        empty_value=None,
        widget=forms.RadioSelect,
    )


def clock(label: str) -> forms.TimeField:
    """A time of day at the place."""
    return forms.TimeField(
        label=label,
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        error_messages={"invalid": "Give a time such as 09:40."},
    )


def photo(label: str, help_text: str = "") -> forms.FileField:
    """A photograph; on a telephone this opens the camera."""
    widget = forms.FileInput(attrs={"accept": "image/*", "capture": "environment"})
    return forms.FileField(label=label, required=False, help_text=help_text, widget=widget)


def no_photo_reason() -> forms.CharField:
    """Why the cover back on could not be photographed."""
    return forms.CharField(
        label="No photo can be taken, because",
        max_length=200,
        required=False,
        help_text="Only when no camera works. The office sees this.",
    )


class ClosingForm(forms.Form):
    """What every sheet says, whether the work was done or not."""

    sheet_key = forms.UUIDField(widget=forms.HiddenInput)
    sure = forms.BooleanField(label="I have looked again: it is right as it stands", required=False)
    visited_on = forms.DateField(
        label="Day",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={
            "required": "Give the day of the visit.",
            "invalid": "Give a day of the calendar.",
        },
    )
    arrived = clock("Arrived at")
    left = clock("Left at")
    crew_name = forms.CharField(label="Who was sent", max_length=160, required=False)
    vehicle_registration = forms.CharField(label="Vehicle", max_length=20, required=False)
    notes = forms.CharField(
        label="Anything the next crew should know",
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            missing = field.error_messages.get("required")
            if field.required and missing:  # said on the telephone before anything is sent
                field.widget.attrs["data-missing"] = str(missing)


class AbandonForm(ClosingForm):
    """The crew had to leave it."""

    prefix = "left-undone"

    abandoned_because = forms.ChoiceField(
        label="Why it could not be done",
        choices=[("", "Choose a reason"), *Visit.Abandoned.choices],
        error_messages={"required": "Choose the reason."},
    )
    cover_lifted = forms.ChoiceField(
        label="Was the cover lifted?",
        choices=[("no", "No, it was never touched"), ("yes", "Yes, it was lifted")],
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether the cover was lifted."},
    )
    lid_back_on = forms.BooleanField(label="The cover is back on and fastened", required=False)
    photo_lid_back = photo("Photo of the cover back on")
    no_photo_because = no_photo_reason()
