"""What is past its years, and the button that takes it away."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from customers import access
from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from customers.models import Removal
from scheduler.past_years import clear_past_years, past_years
from servicing.retention import record_years

if TYPE_CHECKING:
    from scheduler.past_years import Kind

REMOVALS_SHOWN = 30


class ClearForm(forms.Form):
    """Which kinds, and that it is meant."""

    kinds = forms.MultipleChoiceField(
        label="What to take away",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick what is to go."},
    )
    sure = forms.BooleanField(
        label="This cannot be undone",
        error_messages={"required": "Tick that you know that it cannot be undone."},
    )

    def __init__(self, *args: Any, kinds: list[Kind], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kinds"].choices = [  # type: ignore[attr-defined]
            (one.key, f"{one.name} ({number})") for one in kinds if (number := one.number)
        ]


@member_required
@require_http_methods(["GET", "HEAD", "POST"])
def past_years_page(request: HttpRequest) -> HttpResponse:
    """List what is past its years; nothing goes by itself."""
    organisation = organisation_of(request)
    if request.method == "POST":
        access.require(request.user, "manage", organisation)
    kinds = past_years(organisation, local_today(organisation))
    form = ClearForm(request.POST or None, kinds=kinds)
    if request.method == "POST" and form.is_valid():
        removal = clear_past_years(
            organisation=organisation,
            keys=form.cleaned_data["kinds"],
            by=user_of(request),
            now=timezone.now(),
        )
        messages.success(request, f"Taken away: {sum(removal.removed.values())}.")
        return redirect("scheduler:past_years")
    return shown(request, kinds, form)


def shown(request: HttpRequest, kinds: list[Kind], form: ClearForm) -> HttpResponse:
    """The page, with the form that came back where one did."""
    organisation = organisation_of(request)
    removals = Removal.objects.filter(organisation=organisation)
    told = {
        "kinds": kinds,
        "form": form,
        "years": record_years(organisation.profile, local_today(organisation)),
        "removals": removals.select_related("done_by", "person")[:REMOVALS_SHOWN],
        "may_clear": access.may(request.user, "manage", organisation),
        "anything": bool(form.fields["kinds"].choices),  # type: ignore[attr-defined]
    }
    status = 422 if form.errors else 200
    return render(request, "scheduler/past_years.html", told, status=status)


urlpatterns = [path("register/past-years/", past_years_page, name="past_years")]
