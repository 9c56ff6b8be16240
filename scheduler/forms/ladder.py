"""The ladder of reminders: one step with its words, and the hours for writing."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings

from customers.languages import ENGLISH
from scheduler.messages.own_ladder import RANGES, OwnWords, fault_in, names_for
from scheduler.models import TellingRules

LONGEST_WORDS = 2000
OTHERS = [(code, str(name)) for code, name in settings.LANGUAGES if code != ENGLISH]


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
        names = ", ".join(f"{{{name}}}: {what}" for name, what in names_for(step).items())
        self.fields["words"].help_text = (
            "Leave it empty for our words. The greeting, the link, your name and the caution are "
            f"always added. These names are filled in: {names}."
        )
        self.order_fields(["in_use", "days", "subject", "words"])
        for code, name in OTHERS:
            self._add_language(code, name)

    def _add_language(self, code: str, name: str) -> None:
        """Subject and words in a language other than English."""
        self.fields[f"subject_{code}"] = forms.CharField(
            required=False,
            max_length=160,
            label=f"Subject in {name}",
            help_text=f"Without words of your own here, who reads {name} gets our usual words "
            f"in {name}, not your English ones.",
        )
        self.fields[f"words_{code}"] = forms.CharField(
            required=False,
            max_length=LONGEST_WORDS,
            label=f"Words in {name}",
            widget=forms.Textarea(attrs={"rows": 8, "lang": code}),
            help_text="Names in curly brackets are the same in every language.",
        )

    def other_words(self) -> dict[str, OwnWords]:
        """Own words by language other than English."""
        told = self.cleaned_data
        return {
            code: OwnWords(told[f"subject_{code}"], told[f"words_{code}"]) for code, _ in OTHERS
        }

    def clean(self) -> dict[str, Any]:
        """No hole in the words of any language."""
        found = super().clean() or {}
        for name in [f"{part}_{code}" for code, _ in OTHERS for part in ("subject", "words")]:
            found[name] = found.get(name, "").strip()
            fault = fault_in(found[name], self.step)
            if fault:
                self.add_error(name, fault)
        return found

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
