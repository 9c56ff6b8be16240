"""The sale of a place, as the office or the seller tells of it."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any, ClassVar

from django import forms
from django.utils.translation import gettext_lazy as _

from customers.forms.dates import DayField
from customers.models import Sale

if TYPE_CHECKING:
    from customers.models import Premises

AHEAD = dt.timedelta(days=730)
BACK = dt.timedelta(days=730)


class SaleForm(forms.ModelForm[Sale]):
    """Day of completion and the new owner."""

    completes_on = DayField(
        label=_("Day of completion"),
        help_text=_("From this day on the place is the new owner's."),
        error_messages={
            "required": _("Give the day, or the day it is likely to be."),
            "invalid": _("Give a day of the calendar."),
        },
    )

    class Meta:
        model = Sale
        fields: ClassVar = [
            "completes_on",
            "buyer_name",
            "buyer_email",
            "buyer_phone",
            "buyer_address",
            "occupiers_stay",
            "keeps_agreement",
        ]
        labels: ClassVar = {
            "buyer_name": _("Name of the new owner"),
            "buyer_email": _("Their e-mail"),
            "buyer_phone": _("Their telephone"),
            "buyer_address": _("Their postal address"),
            "occupiers_stay": _("The tenants stay"),
            "keeps_agreement": _("Offer the new owner the rest of the aftercare agreement"),
        }
        help_texts: ClassVar = {
            "buyer_email": _(
                "With their leave. Link and pack go there; without it a letter goes to the house."
            ),
            "buyer_address": _("Only where it is not the house that is sold."),
            "occupiers_stay": _("They keep their links; everybody else's end."),
            "keeps_agreement": _(
                "The present agreement ends on the day of completion in any case. The new owner "
                "reads the offer and says yes or no."
            ),
        }
        widgets: ClassVar = {
            "buyer_address": forms.Textarea(attrs={"rows": 3}),
            "buyer_phone": forms.TextInput(attrs={"type": "tel"}),
        }
        error_messages: ClassVar = {
            "buyer_name": {"required": _("Give the name; the solicitor knows it.")},
        }

    def __init__(self, *args: Any, premises: Premises, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        parties = premises.parties.filter(until=None)
        owners = parties.filter(role="owner").values("person")
        if not parties.filter(role="occupier").exclude(person__in=owners).exists():
            del self.fields["occupiers_stay"]
        if not premises.agreements.filter(ended_on=None, ends_on__gte=today).exists():
            del self.fields["keeps_agreement"]

    def clean_completes_on(self) -> dt.date:
        """Neither years ago nor years ahead."""
        day: dt.date = self.cleaned_data["completes_on"]
        if not self.today - BACK <= day <= self.today + AHEAD:
            message = _("Give a day within two years of today.")
            raise forms.ValidationError(message)
        return day


class CallOffForm(forms.Form):
    """Why a sale does not come about."""

    because = forms.CharField(
        label="Why", max_length=200, error_messages={"required": "Say why, in a few words."}
    )
