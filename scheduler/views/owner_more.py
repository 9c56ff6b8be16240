"""The owner's page, further on: look rounds, wishes, what we hold about you."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from customers.models import ContactPreference
from scheduler.forms.owner_more import CheckForm, PreferencesForm
from scheduler.job_sheets import today_at
from scheduler.messages.monthly_checks import drop_reminders
from scheduler.owner_parts import part_of
from scheduler.owner_places import systems_at
from scheduler.person_data import person_sections, years_in_words
from scheduler.views.owner_gate import by_link, shared, token_of
from scheduler.views.owner_sale import require_decides
from scheduler.views.person_data import data_file
from servicing.models import OperatorCheck
from servicing.operator_checks import note_check, remind_of_checks

if TYPE_CHECKING:
    from customers.models import OwnerLink

CHECKS_SHOWN = 24


@by_link
@require_http_methods(["GET", "HEAD", "POST"])
def owner_check(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """The monthly look round: what to look at, and the tick that records it."""
    require_decides(link)
    systems = systems_at(link.premises)
    if not systems:
        raise Http404
    today = today_at(link.premises, timezone.now())
    form = CheckForm(request.POST or None, systems=systems, today=today)
    if request.method == "POST" and form.is_valid():
        return noted(request, link, form)
    checks = OperatorCheck.objects.filter(system__in=systems).select_related("system")
    told = {
        **shared(request, link),
        "form": form,
        "systems": systems,
        "checks": checks[:CHECKS_SHOWN],
        "has_plant": any(one.kind == "package_plant" for one in systems),
    }
    status = 422 if form.errors else 200
    return render(request, "scheduler/owner_check.html", told, status=status)


def noted(request: HttpRequest, link: OwnerLink, form: CheckForm) -> HttpResponse:
    """Record the look; what is wrong goes on to the advice."""
    told = form.cleaned_data
    system, all_well = form.chosen(), told["all_well"] == "yes"
    note_check(
        system=system,
        checked_on=told["checked_on"],
        all_well=all_well,
        words=told["words"],
        person=link.person,
    )
    drop_reminders(system)
    if all_well:
        messages.success(request, gettext("Noted. Thank you for looking."))
        return redirect("scheduler:owner", token=token_of(request))
    messages.warning(
        request, gettext("Noted. Now choose what is wrong: you see at once what to do.")
    )
    return redirect("scheduler:owner_trouble", token=token_of(request))


@by_link
@require_POST
def owner_remind(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Begin or stop the monthly reminders for every system of the place."""
    require_decides(link)
    wanted = request.POST.get("wanted") == "yes"
    for system in systems_at(link.premises):
        remind_of_checks(system=system, wanted=wanted)
        if not wanted:
            drop_reminders(system)
    said = (
        gettext("We remind you once a month.")
        if wanted
        else gettext("No more reminders of the look round.")
    )
    messages.success(request, said)
    return redirect("scheduler:owner_check", token=token_of(request))


@by_link
@require_http_methods(["GET", "HEAD", "POST"])
def owner_mine(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """How you want to be written to, and what we hold about you."""
    person = link.person
    # Nothing ticked sends nothing: an answer all the same.
    data = request.POST if request.method == "POST" else None
    form = PreferencesForm(data, person=person)
    if request.method == "POST" and form.is_valid():
        write_wishes(form, link)
        messages.success(request, gettext("Written down. It holds from now on."))
        return redirect("scheduler:owner_mine", token=token_of(request))
    told: dict[str, Any] = {
        **shared(request, link),
        "form": form,
        "part": part_of(link),
        "sections": person_sections(person, today_at(link.premises, timezone.now())),
        "years": years_in_words(person, today_at(link.premises, timezone.now())),
    }
    return render(request, "scheduler/owner_mine.html", told)


def write_wishes(form: PreferencesForm, link: OwnerLink) -> None:
    """A line of the ledger for each answer that changed."""
    for channel, message_class, allowed in form.changes():
        ContactPreference.objects.create(
            person=link.person,
            channel=channel,
            message_class=message_class,
            allowed=allowed,
            recorded_at=timezone.now(),
            how="On their own page",
        )


@by_link
@require_GET
def owner_mine_file(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """What we hold about you as a file."""
    return data_file(link.person)


urlpatterns = [
    path("place/<str:token>/check/", owner_check, name="owner_check"),
    path("place/<str:token>/check/remind/", owner_remind, name="owner_remind"),
    path("place/<str:token>/mine/", owner_mine, name="owner_mine"),
    path("place/<str:token>/mine.json", owner_mine_file, name="owner_mine_file"),
]
