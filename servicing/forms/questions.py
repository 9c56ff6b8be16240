"""Answering a question about a measurement."""

from __future__ import annotations

from typing import Any

from crispy_forms.helper import FormHelper
from django import forms

from servicing.models import Question


class AnswerForm(forms.Form):
    """What somebody knows of a measurement that does not fit."""

    answer = forms.ChoiceField(widget=forms.RadioSelect, label="What is the matter?")
    note = forms.CharField(
        max_length=300, required=False, label="Note", help_text="Who said so, and what was seen."
    )

    def __init__(self, *args: Any, question: Question, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        labels = dict(Question.Answer.choices)
        sensible = [*question.choices, Question.Answer.STANDS.value]
        field = self.fields["answer"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(value, labels[value]) for value in sensible]
        self.fields["answer"].initial = question.answer or None
        self.fields["note"].initial = question.note
        self.helper = FormHelper()
        self.helper.form_tag = False
