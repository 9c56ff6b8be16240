"""The code by which a tanker operator is chosen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms

from scheduler.operator_sharing import NoSuchOperator, operator_by_code

if TYPE_CHECKING:
    from customers.models import Organisation


class OperatorForm(forms.Form):
    """The operator's own code, typed as the operator told it."""

    code = forms.SlugField(
        label="Code of the operator",
        help_text="The operator tells you: it stands on its own page Work with others.",
        error_messages={"invalid": "A code has letters, figures and hyphens only."},
    )

    def __init__(self, *args: Any, organisation: Organisation, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.organisation = organisation
        self.operator: Organisation | None = None

    def clean_code(self) -> str:
        """A code that names an operator."""
        code: str = self.cleaned_data["code"]
        try:
            self.operator = operator_by_code(code, of=self.organisation)
        except NoSuchOperator as fault:
            raise forms.ValidationError(str(fault)) from fault
        return code
