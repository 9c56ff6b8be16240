"""Agreements on aftercare plans."""

from __future__ import annotations

import datetime as dt
from typing import Any, ClassVar

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Layout, Row
from django import forms

from customers.forms.choices import name_blank_choices
from customers.forms.dates import DayField, PastDayField, tell_today
from customers.forms.scaled import ScaledField
from customers.models import AftercarePlan, Agreement, Person, Premises


class AgreementForm(forms.ModelForm[Agreement]):
    """Aftercare sold for one place over one term."""

    is_draft = forms.BooleanField(
        required=False,
        label="Draw it up only, to be offered and agreed",
        help_text="Not ticked: both sides have agreed to it already.",
    )
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
        fields: ClassVar = [
            "plan",
            "payer",
            "customer_is",
            "sold_how",
            "starts_on",
            "ends_on",
            "price_pence",
            "renews_itself",
        ]
        labels: ClassVar = {
            "payer": "Who pays",
            "customer_is": "The customer is",
            "sold_how": "How it is sold",
            "renews_itself": "Renews itself after this term",
        }
        help_texts: ClassVar = {
            "customer_is": "Not said: the rules for consumers are kept.",
            "sold_how": "Not said: as if at a distance, with the days to cancel.",
        }

    def __init__(
        self,
        *args: Any,
        premises: Premises,
        today: dt.date,
        is_draft: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        if is_draft:
            del self.fields["is_draft"]
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
        draft = ["is_draft"] if "is_draft" in self.fields else []
        self.helper.layout = Layout(
            Row("plan", "payer"),
            Row("customer_is", "sold_how"),
            Row("starts_on", "ends_on"),
            "price_pence",
            "renews_itself",
            *draft,
        )

    def clean(self) -> dict[str, Any]:
        """A term runs forwards, and for no more than five years."""
        cleaned = super().clean() or self.cleaned_data
        starts, ends = cleaned.get("starts_on"), cleaned.get("ends_on")
        if starts and ends and ends < starts:
            self.add_error("ends_on", "The last day is before the first.")
        elif starts and ends and (ends - starts).days > 5 * 366:
            self.add_error("ends_on", "That is longer than five years. Check the year.")
        plan = cleaned.get("plan")
        if plan and starts:
            if cleaned.get("price_pence") is None:
                cleaned["price_pence"] = plan.price_on(starts)
            cleaned["charged_every_months"] = plan.charged_every_months
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
    refund_basis = forms.ChoiceField(
        choices=Agreement.RefundBasis, required=False, label="What is given back"
    )

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


class NextPriceForm(forms.Form):
    """What the next term costs, and why."""

    price_pence = ScaledField(
        per_unit=100, whole=True, min_value=0, max_value=100_000, label="Price a year, £ before VAT"
    )
    reason = forms.CharField(
        max_length=200,
        required=False,
        label="Why it changes",
        help_text="The customer reads it in the notice. The same price needs no reason.",
    )


class NoticeForm(forms.Form):
    """The office told the customer of the renewal itself."""

    given_on = PastDayField(label="Day on which the customer was told")
    how = forms.CharField(
        max_length=300, label="How, and who was spoken to", help_text="Kept as evidence."
    )

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        tell_today(self, today)


def a_year_later(day: dt.date) -> dt.date:
    """Last day of a year's term that starts on `day`."""
    try:
        same = day.replace(year=day.year + 1)
    except ValueError:  # 29 February
        same = dt.date(day.year + 1, 3, 1)
    return same - dt.timedelta(days=1)
