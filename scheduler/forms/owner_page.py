"""What an owner may send through the link."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.formats import date_format
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from scheduler import triage

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django_stubs_ext import StrOrPromise

    from scheduler.models import Job
    from servicing.models import System

MOST_PERSONS = 60
DAYS_AHEAD = 400
YEARS_BACK = 30


def day_field(
    label: StrOrPromise, *, required: bool = True, help_text: StrOrPromise = ""
) -> forms.DateField:
    """A day of the calendar."""
    return forms.DateField(
        label=label,
        required=required,
        help_text=help_text,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={
            "required": _("Give a day."),
            "invalid": _("Give a day of the calendar."),
        },
    )


class OtherDayForm(forms.Form):
    """Up to three days that would suit, and words."""

    first = day_field(_("A day that suits you"))
    second = day_field(_("Another"), required=False)
    third = day_field(_("And another"), required=False)
    words = forms.CharField(
        label=_("Anything we should know"),
        required=False,
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("For example: after three o'clock, or not on Thursdays."),
    )

    def __init__(self, *args: Any, job: Job, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **{**kwargs, "prefix": f"wish-{job.public_id.hex[:8]}"})
        self.today = today

    def clean(self) -> dict[str, Any]:
        """The days are still to come, and near enough to plan."""
        cleaned = super().clean() or {}
        for name in ("first", "second", "third"):
            day = cleaned.get(name)
            if day is None:
                continue
            if day <= self.today:
                self.add_error(name, _("Choose a day from tomorrow on."))
            elif day > self.today + dt.timedelta(days=DAYS_AHEAD):
                self.add_error(name, _("Choose a day within the next thirteen months."))
        return cleaned

    def days(self) -> list[dt.date]:
        """The days asked for, best first, each once."""
        told = (self.cleaned_data[name] for name in ("first", "second", "third"))
        return list(dict.fromkeys(day for day in told if day))


class SystemChoice(forms.Form):
    """A form about one of the systems at a place; with one only it is not asked."""

    system = forms.ChoiceField(label=_("Which one"))

    def __init__(self, *args: Any, systems: Iterable[System], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.systems = {str(one.public_id): one for one in systems}
        field = self.fields["system"]
        field.choices = [  # type: ignore[attr-defined]
            (key, f"{gettext(one.get_kind_display())} {one.reference}")
            for key, one in self.systems.items()
        ]
        if len(self.systems) == 1:
            field.widget = forms.HiddenInput()
            field.initial = next(iter(self.systems))

    def chosen(self) -> System:
        """The system the form is about."""
        return self.systems[self.cleaned_data["system"]]


class PeopleForm(SystemChoice):
    """How many live there, and since when."""

    prefix = "people"

    persons = forms.IntegerField(
        label=_("How many of you live here now"),
        min_value=0,
        max_value=MOST_PERSONS,
        widget=forms.NumberInput(attrs={"inputmode": "numeric", "class": "short"}),
        error_messages={
            "required": _("Say how many."),
            "invalid": _("Give a whole number."),
            "max_value": _("For so many people please ring us."),
        },
    )
    since = day_field(_("From which day"), help_text=_("A day to come is welcome too."))

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["since"].initial = today

    def clean(self) -> dict[str, Any]:
        """Not before the system was there, nor further away than anybody knows."""
        cleaned = super().clean() or {}
        since, system = cleaned.get("since"), self.systems.get(cleaned.get("system", ""))
        if since is None or system is None:
            return cleaned
        if system.installed_on and since < system.installed_on:
            self.add_error(
                "since",
                _("It was put in on %(day)s.") % {"day": date_format(system.installed_on, "j F Y")},
            )
        elif since < self.today - dt.timedelta(days=365 * YEARS_BACK):
            self.add_error("since", _("That is longer ago than we reckon with."))
        elif since > self.today + dt.timedelta(days=DAYS_AHEAD):
            self.add_error("since", _("Choose a day within the next thirteen months."))
        return cleaned


class TroubleForm(SystemChoice):
    """What the owner sees or smells."""

    prefix = "trouble"

    key = forms.UUIDField(widget=forms.HiddenInput)
    sign = forms.ChoiceField(
        label=_("What do you notice?"),
        widget=forms.RadioSelect,
        error_messages={"required": _("Choose what comes nearest.")},
    )
    words = forms.CharField(
        label=_("In your own words"),
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("Since when, where, how much. Please do not lift a cover to find out."),
    )

    def __init__(self, *args: Any, has_plant: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["key"].initial = uuid.uuid4
        self.fields["sign"].choices = [  # type: ignore[attr-defined]
            (sign.key, gettext(sign.says)) for sign in triage.signs_for(has_plant=has_plant)
        ]
