"""Words for having chosen nothing."""

from __future__ import annotations

from django import forms


def name_blank_choices(form: forms.BaseForm) -> None:
    """Say "Choose …" where a choice must be made and "Not known" where it need not."""
    for field in form.fields.values():
        words = "Choose …" if field.required else "Not known"
        if isinstance(field, forms.ModelChoiceField):
            if field.empty_label == "---------":
                field.empty_label = words
        elif isinstance(field, forms.ChoiceField):
            pairs = [(value, label) for value, label in field.widget.choices]
            if pairs and pairs[0][0] == "":
                field.choices = [("", words), *pairs[1:]]
