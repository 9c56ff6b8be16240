"""Settings of an organisation."""

from __future__ import annotations

from typing import Any, ClassVar

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Fieldset, Layout, Row
from django import forms

from customers.forms.dates import DayField, checked_time_zone
from customers.forms.scaled import ScaledField
from customers.languages import language_choices
from customers.models import Organisation


class OrganisationForm(forms.ModelForm[Organisation]):
    """Who we are, which rules and units hold, in whose name mail goes out."""

    accepted_risk = ScaledField(
        per_unit=0.01,
        min_value=1,
        max_value=50,
        label="Accepted risk, %",
        help_text=(
            "Of the systems emptied on the day they are due, how many in a hundred you accept to "
            "find over the limit. Less means more trips."
        ),
    )
    emptying_cost_pence = ScaledField(
        per_unit=100,
        whole=True,
        min_value=1,
        max_value=20_000,
        required=False,
        label="An emptying costs, £",
        help_text="Tanker, crew and works.",
    )
    trouble_cost_pence = ScaledField(
        per_unit=100,
        whole=True,
        min_value=1,
        max_value=1_000_000,
        required=False,
        label="A year over the limit costs, £",
        help_text="On average: calls at night, floods, a ruined drainage field.",
    )
    dip_cost_pence = ScaledField(
        per_unit=100,
        whole=True,
        min_value=1,
        max_value=20_000,
        required=False,
        label="A measurement costs, £",
        help_text="When a crew is nearby: the detour and the time.",
    )
    look_cost_pence = ScaledField(
        per_unit=100,
        whole=True,
        min_value=1,
        max_value=20_000,
        required=False,
        label="A look into a chamber costs, £",
        help_text="The drive and the time. Needed to set inspections by cost.",
    )
    carrier_valid_from = DayField(required=False, label="Valid from")
    carrier_valid_to = DayField(required=False, label="Valid to")

    class Meta:
        model = Organisation
        fields: ClassVar = [
            "name",
            "phone",
            "address",
            "profile",
            "time_zone",
            "units",
            "language",
            "sender_name",
            "sender_email",
            "carrier_registration",
            "carrier_valid_from",
            "carrier_valid_to",
            "accepted_risk",
            "horizon_days",
            "stick_notch_mm",
            "tip_tolerance_percent",
            "dates_by",
            "emptying_cost_pence",
            "trouble_cost_pence",
            "dip_cost_pence",
            "look_cost_pence",
            "interval_override_months",
            "interval_override_reason",
        ]
        labels: ClassVar = {
            "profile": "Country rules",
            "phone": "Telephone",
            "units": "Volumes in",
            "sender_name": "Mail goes out as",
            "sender_email": "Replies go to",
            "carrier_registration": "Waste carrier registration",
            "stick_notch_mm": "Notches of the dip sticks, mm apart",
            "tip_tolerance_percent": "Collected and tipped may differ by, %",
            "dates_by": "Due dates are set",
            "interval_override_months": "Longest interval we accept, months",
            "interval_override_reason": "Why longer than the guidance",
        }
        help_texts: ClassVar = {
            "profile": "Sets intervals, triggers and what papers must say. Local codes come first.",
            "time_zone": "For example Europe/London.",
            "stick_notch_mm": "A crew may have a stick of its own: it is set with the crew.",
            "tip_tolerance_percent": (
                "Beyond it a load is shown as one that does not add up. Ten is common practice."
            ),
            "dates_by": (
                "By cost, a tank is due when waiting would cost more, on average, than emptying it, "
                "and a chamber is looked into as often as costs least. "
                "Intervals set by law, an agreement or the maker come first either way."
            ),
        }
        widgets: ClassVar = {
            "address": forms.Textarea(attrs={"rows": 3}),
            "time_zone": forms.TextInput(attrs={"list": "time-zones", "autocomplete": "off"}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["horizon_days"] = forms.IntegerField(
            min_value=7, max_value=730, label="Make jobs ahead, days"
        )
        self.fields["language"] = forms.ChoiceField(
            choices=language_choices(),
            label="Owners usually read",
            help_text="A person may choose otherwise. The office works in English.",
        )
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.layout = Layout(
            Fieldset("Who we are", "name", "phone", "address"),
            Fieldset("Rules and units", "profile", Row("time_zone", "units"), "language"),
            Fieldset("Mail", Row("sender_name", "sender_email")),
            Fieldset(
                "Carrying waste",
                "carrier_registration",
                Row("carrier_valid_from", "carrier_valid_to"),
                "tip_tolerance_percent",
            ),
            Fieldset("Measuring", "stick_notch_mm"),
            Fieldset(
                "Planning ahead",
                Row("accepted_risk", "horizon_days"),
                "dates_by",
                Row("emptying_cost_pence", "trouble_cost_pence"),
                Row("dip_cost_pence", "look_cost_pence"),
                Row("interval_override_months", "interval_override_reason"),
            ),
        )

    def clean_time_zone(self) -> str:
        """A zone of the time zone database."""
        return checked_time_zone(self.cleaned_data["time_zone"])

    def clean(self) -> dict[str, Any]:
        """A registration runs forwards."""
        cleaned = super().clean() or self.cleaned_data
        starts, ends = cleaned.get("carrier_valid_from"), cleaned.get("carrier_valid_to")
        if starts and ends and ends < starts:
            self.add_error("carrier_valid_to", "It ends before it starts.")
        if cleaned.get("dates_by") == Organisation.DatesBy.COST:
            for name in ("emptying_cost_pence", "trouble_cost_pence"):
                if not cleaned.get(name) and name not in self.errors:
                    self.add_error(name, "Needed to set dates by what costs least.")
        longer, why = cleaned.get("interval_override_months"), "interval_override_reason"
        if longer and not (cleaned.get(why) or "").strip():
            self.add_error(why, "Say why: it stands beside every date that follows from it.")
        return cleaned
