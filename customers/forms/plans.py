"""Aftercare plans and prices."""

from __future__ import annotations

from typing import Any, ClassVar

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Layout, Row
from django import forms

from customers.forms.dates import DayField
from customers.forms.scaled import ScaledField
from customers.models import AftercarePlan, Organisation, Service

# What stands in the price list; aftercare without visits has no single price.
PRICED = [(value, label) for value, label in Service.choices if value != Service.COVER]
# Left empty they are what a new plan has.
DEFAULTED = {
    "charged_every_months": 12,
    "emptyings_per_year": 0,
    "service_visits_per_year": 0,
    "inspections_per_year": 0,
    "jettings_per_year": 0,
    "call_outs_per_year": 0,
}


class PlanForm(forms.ModelForm[AftercarePlan]):
    """What is offered, how often, and for how much."""

    price_pence = ScaledField(
        per_unit=100, whole=True, min_value=0, max_value=100_000, label="Price a year, £ before VAT"
    )

    class Meta:
        model = AftercarePlan
        fields: ClassVar = [
            "name",
            "includes",
            "price_pence",
            "charged_every_months",
            "emptyings_per_year",
            "service_visits_per_year",
            "inspections_per_year",
            "jettings_per_year",
            "call_outs_per_year",
            "emptying_interval_months",
            "emptying_litres_included",
            "response_hours",
            "renewal_notice_days",
            "passes_on_tip_charge",
            "offered",
        ]
        labels: ClassVar = {
            "includes": "What it includes",
            "emptyings_per_year": "Emptyings a year",
            "service_visits_per_year": "Service visits a year",
            "inspections_per_year": "Chamber inspections a year",
            "jettings_per_year": "Jettings a year",
            "call_outs_per_year": "Call-outs a year",
            "charged_every_months": "Charged",
            "emptying_interval_months": "Longest time between emptyings, months",
            "emptying_litres_included": "Litres included at one emptying",
            "response_hours": "Comes within, hours after trouble is reported",
            "renewal_notice_days": "Renewal notice, days before the end",
            "passes_on_tip_charge": "Passes the charge of the works on",
            "offered": "Offered to new customers",
        }
        widgets: ClassVar = {"includes": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, organisation: Organisation, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.organisation = organisation
        for name in DEFAULTED:
            self.fields[name].required = False
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.layout = Layout(
            "name",
            "includes",
            "price_pence",
            "charged_every_months",
            Row("emptyings_per_year", "service_visits_per_year", "inspections_per_year"),
            Row("jettings_per_year", "call_outs_per_year"),
            Row("emptying_interval_months", "emptying_litres_included"),
            Row("response_hours", "renewal_notice_days"),
            "passes_on_tip_charge",
            "offered",
        )

    def clean(self) -> dict[str, Any]:
        """A number left empty is the usual one: nothing included, charged once a year."""
        cleaned = super().clean() or self.cleaned_data
        for name, usual in DEFAULTED.items():
            if cleaned.get(name) in {None, ""}:
                cleaned[name] = usual
        return cleaned

    def clean_name(self) -> str:
        """No two plans of one name."""
        name: str = self.cleaned_data["name"]
        others = AftercarePlan.objects.filter(organisation=self.organisation, name=name)
        if others.exclude(pk=self.instance.pk).exists():
            message = "There is a plan of this name already."
            raise forms.ValidationError(message)
        return name


class PlanPriceForm(forms.Form):
    """A plan's price from a day on."""

    valid_from = DayField(label="For agreements that start on this day or later")
    price_pence = ScaledField(
        per_unit=100, whole=True, min_value=0, max_value=100_000, label="Price a year, £ before VAT"
    )
    why = forms.CharField(max_length=200, label="Why")


class ServicePriceForm(forms.Form):
    """A line of the price list."""

    service = forms.ChoiceField(choices=PRICED, label="Work")
    valid_from = DayField(label="From")
    price_pence = ScaledField(
        per_unit=100,
        whole=True,
        min_value=0,
        max_value=100_000,
        label="Price, £ before VAT",
        help_text="Of litres above the allowance: each 1,000 litres begun.",
    )
    litres_included = forms.IntegerField(
        min_value=0,
        max_value=500_000,
        required=False,
        label="Litres included",
        help_text="Of an emptying only: more is charged as litres above the allowance.",
    )
