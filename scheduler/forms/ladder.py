"""The ladder of reminders: one step with its words, and the hours for writing."""

from __future__ import annotations

from typing import Any

from django import forms

from scheduler.messages.own_ladder import RANGES, fault_in, names_for
from scheduler.models import TellingRules

LONGEST_WORDS = 2000


class StepForm(forms.Form):
    """When a step is taken and what it says."""

    in_use = forms.BooleanField(label="Send this message", required=False)
    days = forms.IntegerField(label="Days")
    subject = forms.CharField(
        required=False, max_length=160, help_text="Leave it empty for our words."
    )
    words = forms.CharField(
        required=False,
        max_length=LONGEST_WORDS,
        widget=forms.Textarea(attrs={"rows": 8}),
    )

    def __init__(self, *args: Any, step: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.step = step
        first, last = RANGES[step]
        side = "before" if last < 0 else "after"
        of = "the visit" if step.startswith("reminder") else "it falls due"
        self.fields["days"] = forms.IntegerField(
            label=f"Days {side} {of}",
            min_value=min(abs(first), abs(last)),
            max_value=max(abs(first), abs(last)),
        )
        self.order_fields(["in_use", "days", "subject", "words"])
        names = ", ".join(f"{{{name}}}: {what}" for name, what in names_for(step).items())
        self.fields["words"].help_text = (
            "Leave it empty for our words. The greeting, the link, your name and the caution are "
            f"always added. These names are filled in: {names}."
        )

    def signed_days(self) -> int:
        """Days as the ladder counts them: negative before the day."""
        days: int = self.cleaned_data["days"]
        return -days if RANGES[self.step][1] < 0 else days

    def clean_subject(self) -> str:
        return self._without_fault("subject")

    def clean_words(self) -> str:
        return self._without_fault("words")

    def _without_fault(self, name: str) -> str:
        text: str = self.cleaned_data[name].strip()
        fault = fault_in(text, self.step)
        if fault:
            raise forms.ValidationError(fault)
        return text


class RulesForm(forms.Form):
    """At which hours owners may be written to, and which way is tried first."""

    day_begins = forms.TimeField(
        label="Nothing before", widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    )
    day_ends = forms.TimeField(
        label="Nothing after", widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    )
    order = forms.ChoiceField(
        label="Which way is tried first",
        choices=TellingRules.Order.choices,
        help_text="Text messages go only to who agreed to them, and only where a gateway is set up.",
    )

    def clean(self) -> dict[str, Any]:
        """The day must end after it begins."""
        found = super().clean() or {}
        begins, ends = found.get("day_begins"), found.get("day_ends")
        if begins and ends and ends <= begins:
            self.add_error("day_ends", "The day must end after it begins.")
        return found
