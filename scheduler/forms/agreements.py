"""Answers to an offer of aftercare, and words about a charge."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from customers.agreement_sales import fingerprint
from customers.forms.dates import PastDayField, tell_today

if TYPE_CHECKING:
    from customers.models import Agreement


class AgreeForm(forms.Form):
    """The customer's yes on their own page."""

    name = forms.CharField(
        max_length=160,
        label=_("Your name"),
        error_messages={"required": _("Write your name: it stands for your signature.")},
    )
    early_start = forms.BooleanField(
        required=False,
        label=_("Please begin before the days to cancel are over"),
        help_text=_(
            "If you then cancel, you pay for the visits made until that moment. Not ticked: we "
            "begin after those days."
        ),
    )
    read = forms.BooleanField(
        label=_("I have read the agreement above and agree to it"),
        error_messages={"required": _("Tick this to agree. Nothing is agreed before.")},
    )
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, agreement: Agreement, has_right: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["seen"] = fingerprint(agreement.offered_text)
        if not has_right:
            del self.fields["early_start"]


class CancelByOwnerForm(forms.Form):
    """The customer cancels on their own page; a reason is not asked for."""

    words = forms.CharField(
        max_length=500,
        required=False,
        label=_("Anything you want to tell us (you need not)"),
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class SignedForm(forms.Form):
    """A yes that came on paper."""

    name = forms.CharField(max_length=160, label="Signed by")
    signed_on = PastDayField(label="Day of the signature")
    informed = forms.BooleanField(
        required=False,
        label="The customer got the page on cancelling with it",
        help_text="Not ticked: the right to cancel lasts a year longer.",
    )
    early_start = forms.BooleanField(
        required=False,
        label="The customer asked us in writing to begin before the days to cancel are over",
    )

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        tell_today(self, today)


class CancelledForm(forms.Form):
    """The customer cancelled by letter, mail or telephone."""

    said_on = PastDayField(
        label="Day on which the customer sent word",
        help_text="What counts is the day it was sent, not the day it arrived.",
    )
    words = forms.CharField(max_length=300, label="How, and in what words")

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        tell_today(self, today)


class VoidForm(forms.Form):
    """Why a charge does not hold."""

    because = forms.CharField(max_length=200, label="Why")
