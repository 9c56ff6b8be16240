"""People, what they are to a place, and how they may be written to."""

from __future__ import annotations

import datetime as dt
from typing import Any, ClassVar

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Fieldset, Layout, Row
from django import forms

from customers.forms.choices import name_blank_choices
from customers.forms.dates import DayField, PastDayField, tell_today
from customers.languages import language_choices
from customers.models import ContactPreference, Party, Person, Premises


class PersonForm(forms.ModelForm[Person]):
    """Name and ways to reach a person."""

    class Meta:
        model = Person
        fields: ClassVar = ["name", "email", "phone", "language", "postal_address", "notes"]
        labels: ClassVar = {"email": "E-mail", "phone": "Telephone"}
        help_texts: ClassVar = {
            "postal_address": "Only where it is not the address of the place.",
            "notes": "For the office; never sent.",
        }
        widgets: ClassVar = {
            "postal_address": forms.Textarea(attrs={"rows": 3}),
            "notes": forms.Textarea(attrs={"rows": 3}),
            "phone": forms.TextInput(attrs={"type": "tel"}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["language"] = forms.ChoiceField(
            required=False,
            label="Reads",
            choices=language_choices(empty="What we usually write"),
            help_text="Messages to them, and their own page, are in this language.",
        )
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.layout = Layout(
            "name", Row("email", "phone"), "language", "postal_address", "notes"
        )


class PartyForm(forms.Form):
    """Somebody new, or somebody known, becomes something to a place."""

    role = forms.ChoiceField(choices=Party.Role, label="What they are here")
    since = DayField(required=False, label="Since", help_text="Empty: as long as we know of.")
    person = forms.ModelChoiceField(
        queryset=Person.objects.none(),
        required=False,
        label="Somebody already in the register",
        empty_label="Somebody new",
    )
    name = forms.CharField(max_length=160, required=False, label="Name")
    email = forms.EmailField(required=False, label="E-mail")
    phone = forms.CharField(
        max_length=40, required=False, label="Telephone", widget=forms.TextInput({"type": "tel"})
    )

    def __init__(self, *args: Any, premises: Premises, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.premises = premises
        choice = self.fields["person"]
        assert isinstance(choice, forms.ModelChoiceField)
        # Those already at this place, and the last few written down: a list of everybody would
        # be tens of thousands long. Others are linked from their own page.
        recent = Person.objects.filter(organisation=premises.organisation).order_by("-pk")
        here = Person.objects.filter(parties__premises=premises)
        keys = [*here.values_list("pk", flat=True), *recent.values_list("pk", flat=True)[:25]]
        choice.queryset = Person.objects.filter(
            organisation=premises.organisation, pk__in=keys
        ).order_by("name")
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.layout = Layout(
            Row("role", "since"),
            "person",
            Fieldset("Somebody new", "name", Row("email", "phone")),
        )

    def clean(self) -> dict[str, Any]:
        """Either somebody known or a name."""
        cleaned = super().clean() or self.cleaned_data
        if not cleaned.get("person") and not cleaned.get("name"):
            self.add_error("name", "Choose somebody, or give the name of somebody new.")
        person, role = cleaned.get("person"), cleaned.get("role")
        if person and self.premises.parties.filter(person=person, role=role, until=None).exists():
            self.add_error("person", "They are that here already.")
        return cleaned


class PartyEndForm(forms.Form):
    """The day from which somebody is no longer what they were."""

    until = PastDayField(label="Last day")

    def __init__(self, *args: Any, party: Party, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.party = party
        tell_today(self, today)

    def clean_until(self) -> dt.date:
        """Not before it began."""
        until: dt.date = self.cleaned_data["until"]
        if self.party.since and until < self.party.since:
            message = f"That is before it began, on {self.party.since:%-d %B %Y}."
            raise forms.ValidationError(message)
        return until


class PreferenceForm(forms.ModelForm[ContactPreference]):
    """One line of the consent ledger."""

    allowed = forms.TypedChoiceField(
        choices=[("yes", "May be written to"), ("no", "Does not want it")],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
        label="What they said",
    )

    class Meta:
        model = ContactPreference
        fields: ClassVar = ["channel", "message_class", "allowed", "how"]
        labels: ClassVar = {"message_class": "Kind of message", "how": "How we know"}
        help_texts: ClassVar = {
            "message_class": "Service: about an agreement or a booked visit. Marketing: anything else.",
            "how": "Where and how this was said: by telephone, on the order form, …",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        name_blank_choices(self)
