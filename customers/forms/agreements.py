"""Aftercare plans, and agreements on them."""

from __future__ import annotations

import datetime as dt
from typing import Any, ClassVar

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Layout, Row
from django import forms

from customers.forms.choices import name_blank_choices
from customers.forms.dates import DayField
from customers.forms.scaled import ScaledField
from customers.models import AftercarePlan, Agreement, Organisation, Person, Premises


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
            "emptyings_per_year",
            "service_visits_per_year",
            "inspections_per_year",
            "emptying_interval_months",
            "offered",
        ]
        labels: ClassVar = {
            "includes": "What it includes",
            "emptyings_per_year": "Emptyings a year",
            "service_visits_per_year": "Service visits a year",
            "inspections_per_year": "Chamber inspections a year",
            "emptying_interval_months": "Longest time between emptyings, months",
            "offered": "Offered to new customers",
        }
        widgets: ClassVar = {"includes": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, organisation: Organisation, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.organisation = organisation
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.layout = Layout(
            "name",
            "includes",
            "price_pence",
            Row("emptyings_per_year", "service_visits_per_year", "inspections_per_year"),
            "emptying_interval_months",
            "offered",
        )

    def clean_name(self) -> str:
        """No two plans of one name."""
        name: str = self.cleaned_data["name"]
        others = AftercarePlan.objects.filter(organisation=self.organisation, name=name)
        if others.exclude(pk=self.instance.pk).exists():
            message = "There is a plan of this name already."
            raise forms.ValidationError(message)
        return name


class AgreementForm(forms.ModelForm[Agreement]):
    """Aftercare sold for one place over one term."""

    starts_on = DayField(label="First day")
    ends_on = DayField(label="Last day")
    price_pence = ScaledField(
        per_unit=100,
        whole=True,
        min_value=0,
        max_value=100_000,
        required=False,
        label="Price a year, £ before VAT",
        help_text="Empty: the price of the plan.",
    )

    class Meta:
        model = Agreement
        fields: ClassVar = ["plan", "payer", "starts_on", "ends_on", "price_pence", "renews_itself"]
        labels: ClassVar = {"payer": "Who pays", "renews_itself": "Renews itself after this term"}

    def __init__(self, *args: Any, premises: Premises, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        plans = AftercarePlan.objects.filter(organisation=premises.organisation, offered=True)
        plan, payer = self.fields["plan"], self.fields["payer"]
        assert isinstance(plan, forms.ModelChoiceField)
        assert isinstance(payer, forms.ModelChoiceField)
        plan.queryset = plans.order_by("name")
        payer.queryset = Person.objects.filter(parties__premises=premises).distinct()
        payer.required = False
        name_blank_choices(self)
        self.initial.setdefault("starts_on", today)
        self.initial.setdefault("ends_on", a_year_later(today))
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.layout = Layout(
            Row("plan", "payer"), Row("starts_on", "ends_on"), "price_pence", "renews_itself"
        )

    def clean(self) -> dict[str, Any]:
        """A term runs forwards, and for no more than five years."""
        cleaned = super().clean() or self.cleaned_data
        starts, ends = cleaned.get("starts_on"), cleaned.get("ends_on")
        if starts and ends and ends < starts:
            self.add_error("ends_on", "The last day is before the first.")
        elif starts and ends and (ends - starts).days > 5 * 366:
            self.add_error("ends_on", "That is longer than five years. Check the year.")
        if cleaned.get("price_pence") is None and cleaned.get("plan"):
            cleaned["price_pence"] = cleaned["plan"].price_pence
        return cleaned


class AgreementRenewForm(forms.Form):
    """The price of the next term."""

    price_pence = ScaledField(
        per_unit=100,
        whole=True,
        min_value=0,
        max_value=100_000,
        label="Price a year, £ before VAT",
        help_text="The term is as long as the one before.",
    )


class AgreementEndForm(forms.Form):
    """Ending an agreement before its term is out."""

    ended_on = DayField(label="Ends on")
    ended_reason = forms.CharField(max_length=200, label="Why")

    def __init__(self, *args: Any, agreement: Agreement, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.agreement = agreement

    def clean_ended_on(self) -> dt.date:
        """Within the term."""
        day: dt.date = self.cleaned_data["ended_on"]
        if not self.agreement.starts_on <= day <= self.agreement.ends_on:
            message = (
                f"Give a day of the term: {self.agreement.starts_on:%-d %B %Y} "
                f"to {self.agreement.ends_on:%-d %B %Y}."
            )
            raise forms.ValidationError(message)
        return day


def a_year_later(day: dt.date) -> dt.date:
    """Last day of a year's term that starts on `day`."""
    try:
        same = day.replace(year=day.year + 1)
    except ValueError:  # 29 February
        same = dt.date(day.year + 1, 3, 1)
    return same - dt.timedelta(days=1)
