"""What an owner notes on their page beside days and trouble."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from customers.models import ContactPreference
from scheduler.forms.owner_page import SystemChoice, day_field

if TYPE_CHECKING:
    from customers.models import Person

BACK = dt.timedelta(days=62)
Channel, Class = ContactPreference.Channel, ContactPreference.MessageClass


class CheckForm(SystemChoice):
    """The monthly look round."""

    prefix = "check"

    checked_on = day_field(_("When you looked"))
    all_well = forms.ChoiceField(
        label=_("What you found"),
        choices=[("yes", _("All is well")), ("no", _("Something is wrong"))],
        widget=forms.RadioSelect,
        error_messages={"required": _("Say what you found.")},
    )
    words = forms.CharField(
        label=_("In your own words"),
        required=False,
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["checked_on"].initial = today

    def clean_checked_on(self) -> dt.date:
        """A day that has been, and not long ago."""
        day: dt.date = self.cleaned_data["checked_on"]
        if day > self.today:
            message = _("That day is still to come.")
            raise forms.ValidationError(message)
        if day < self.today - BACK:
            message = _("That is more than two months ago. For older ones please ring us.")
            raise forms.ValidationError(message)
        return day


# Name of the field, its channel and class, and how it is asked.
ASKED = (
    (
        "texts",
        Channel.SMS,
        Class.SERVICE,
        _("Text me when you come tomorrow and when you set off"),
    ),
    (
        "news",
        Channel.EMAIL,
        Class.MARKETING,
        _("E-mail me hints and offers, such as before Christmas"),
    ),
)


class PreferencesForm(forms.Form):
    """How somebody wants to be written to; what has to be said is said anyway."""

    prefix = "wishes"

    texts = forms.BooleanField(required=False)
    news = forms.BooleanField(required=False)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person
        self.before = {
            name: allowed_now(person, channel, of) for name, channel, of, *_words in ASKED
        }
        for name, channel, _class, words in ASKED:
            self.fields[name].label = words
            self.fields[name].initial = self.before[name]
            if (channel == Channel.SMS and not person.phone) or (
                channel != Channel.SMS and not person.email
            ):
                del self.fields[name]

    def changes(self) -> list[tuple[str, str, bool]]:
        """Channel, class and answer of what is otherwise than before."""
        return [
            (channel, of, self.cleaned_data[name])
            for name, channel, of, *_words in ASKED
            if name in self.fields and self.cleaned_data[name] != self.before[name]
        ]


def allowed_now(person: Person, channel: str, message_class: str) -> bool:
    """What the newest line of the ledger says; nothing said is no."""
    last = person.preferences.filter(channel=channel, message_class=message_class).first()
    return last is not None and last.allowed
