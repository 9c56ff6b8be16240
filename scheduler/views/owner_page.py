"""The owner's page: no account, one place, opened by a signed link."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Iterable
from functools import wraps
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from customers.sales import open_sale
from scheduler import booking, owner_links, triage
from scheduler.forms.owner_page import OtherDayForm, PeopleForm, TroubleForm
from scheduler.job_sheets import today_at
from scheduler.models import TroubleReport
from scheduler.owner_parts import papers_for, part_of
from scheduler.owner_places import (
    OwnersSystem,
    PlannedVisit,
    jobs_at,
    owners_view_of,
    reports_by,
    systems_at,
)
from scheduler.owner_requests import agree_by_link, report_trouble, tell_occupancy
from servicing.models import System
from servicing.views.papers import file_of

if TYPE_CHECKING:
    from customers.models import OwnerLink

Arguments = ParamSpec("Arguments")

# The link is the key, so nothing on the way may keep the page or pass its address on. The address
# stays inside this site ("same-origin"): with "no-referrer" browsers send `Origin: null` with a
# form, which Django's CSRF check rightly refuses.
HEADERS = {
    "Cache-Control": "private, no-store",
    "Referrer-Policy": "same-origin",
    "X-Robots-Tag": "noindex, nofollow",
}


def by_link(
    view: Callable[Concatenate[HttpRequest, OwnerLink, Arguments], HttpResponse],
) -> Callable[..., HttpResponse]:
    """Turn the token of the address into its link, or say plainly why it opens nothing."""

    @wraps(view)
    def gate(
        request: HttpRequest, token: str, *args: Arguments.args, **kwargs: Arguments.kwargs
    ) -> HttpResponse:
        link: OwnerLink | None = None
        try:
            link = owner_links.read_link(token)
            if request.method == "POST":
                owner_links.count_write(link)
            response = view(request, link, *args, **kwargs)
        except owner_links.LinkUnknown:
            response = closed_page(request, HTTPStatus.NOT_FOUND)
        except owner_links.LinkEnded as ended:
            response = closed_page(request, HTTPStatus.GONE, ended.link)
        except owner_links.TooManyWrites:
            response = closed_page(request, HTTPStatus.TOO_MANY_REQUESTS, link)
        for name, value in HEADERS.items():
            response[name] = value
        return response

    return gate


def closed_page(
    request: HttpRequest, status: HTTPStatus, link: OwnerLink | None = None
) -> HttpResponse:
    """Why the page does not open, and whom to ring where we know the firm."""
    told = {"status": int(status), "organisation": link.organisation if link else None}
    return render(request, "scheduler/owner_closed.html", told, status=status)


@by_link
@require_GET
def owner(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Show the place to its owner."""
    link.opened()
    return place_page(request, link)


def place_page(
    request: HttpRequest, link: OwnerLink, refused: forms.Form | None = None
) -> HttpResponse:
    """The page, with the form that came back where one did."""
    now = timezone.now()
    today = today_at(link.premises, now)
    shown = [owners_view_of(one, now) for one in systems_at(link.premises)]
    told = {
        **shared(request, link),
        "shown": [(one, with_forms(one.planned, today, refused)) for one in shown],
        "today": today,
        "people_form": people_form(link, shown),
        "refused": refused,
        "papers": papers_for(link).standing().listed(),
        "part": part_of(link, today),
        "sale": open_sale(link.premises),
    }
    if isinstance(refused, PeopleForm):
        told["people_form"] = refused
    status = HTTPStatus.UNPROCESSABLE_ENTITY if refused else HTTPStatus.OK
    return render(request, "scheduler/owner.html", told, status=status)


def with_forms(
    planned: Iterable[PlannedVisit], today: dt.date, refused: forms.Form | None
) -> list[tuple[PlannedVisit, OtherDayForm]]:
    """Each planned visit with its form for another day."""
    pairs = []
    for one in planned:
        form = OtherDayForm(job=one.job, today=today)
        if isinstance(refused, OtherDayForm) and refused.prefix == form.prefix:
            form = refused
        pairs.append((one, form))
    return pairs


def token_of(request: HttpRequest) -> str:
    """The token the page was opened with: a fresh one would let a link outlive its term."""
    assert request.resolver_match is not None
    return str(request.resolver_match.kwargs["token"])


def shared(request: HttpRequest, link: OwnerLink) -> dict[str, Any]:
    """What every page behind the link shows."""
    return {
        "link": link,
        "token": token_of(request),
        "premises": link.premises,
        "organisation": link.organisation,
    }


def people_form(link: OwnerLink, shown: list[OwnersSystem], data: Any = None) -> PeopleForm | None:
    """The question how many live there; None where no household lives on a system."""
    asked = [one for one in shown if one.is_household and one.system.holds_sludge]
    if not asked:
        return None
    first = asked[0].occupancy
    initial = {"persons": round(first.persons)} if first and first.persons is not None else {}
    today = today_at(link.premises, timezone.now())
    systems = [one.system for one in asked]
    return PeopleForm(data, systems=systems, today=today, initial=initial)


@by_link
@require_POST
def owner_agree(request: HttpRequest, link: OwnerLink, public_id: uuid.UUID) -> HttpResponse:
    """Take the owner's yes to the time offered."""
    job = get_object_or_404(jobs_at(link.premises), public_id=public_id)
    try:
        agree_by_link(job=job, now=timezone.now())
    except booking.NotPossible as impossible:
        messages.warning(request, f"{impossible} Please ask for another day, or ring us.")
    else:
        messages.success(
            request, "Thank you, that is agreed. You only need to leave the cover reachable."
        )
    return back(request)


@by_link
@require_POST
def owner_other_day(request: HttpRequest, link: OwnerLink, public_id: uuid.UUID) -> HttpResponse:
    """Note the wish for another day."""
    job = get_object_or_404(jobs_at(link.premises), public_id=public_id)
    form = OtherDayForm(request.POST, job=job, today=today_at(link.premises, timezone.now()))
    if not form.is_valid():
        return place_page(request, link, form)
    try:
        booking.ask_other_day(
            job=job, person=link.person, days=form.days(), words=form.cleaned_data["words"]
        )
    except booking.NotPossible as impossible:
        messages.warning(request, f"{impossible} Please ring us.")
    else:
        messages.success(request, "Thank you. We shall look at your days and write to you.")
    return back(request)


@by_link
@require_POST
def owner_people(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Note how many live there."""
    shown = [owners_view_of(one, timezone.now()) for one in systems_at(link.premises)]
    form = people_form(link, shown, request.POST)
    if form is None:
        raise Http404
    if not form.is_valid():
        return place_page(request, link, form)
    tell_occupancy(
        system=form.chosen(),
        persons=form.cleaned_data["persons"],
        since=form.cleaned_data["since"],
        person=link.person,
        now=timezone.now(),
    )
    messages.success(request, "Thank you. The dates on this page have been worked out afresh.")
    return back(request)


@by_link
@require_http_methods(["GET", "HEAD", "POST"])
def owner_trouble(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Ask what is wrong; answer with what to do."""
    systems = systems_at(link.premises)
    if not systems:
        raise Http404
    has_plant = any(one.kind == System.Kind.PACKAGE_PLANT for one in systems)
    form = TroubleForm(request.POST or None, systems=systems, has_plant=has_plant)
    if request.method == "POST" and form.is_valid():
        report = noted(link, form)
        return redirect(
            "scheduler:owner_advice", token=token_of(request), public_id=report.public_id
        )
    status = HTTPStatus.UNPROCESSABLE_ENTITY if form.is_bound else HTTPStatus.OK
    told = {**shared(request, link), "form": form}
    return render(request, "scheduler/owner_trouble.html", told, status=status)


def noted(link: OwnerLink, form: TroubleForm) -> TroubleReport:
    """The report a valid form makes."""
    told = form.cleaned_data
    return report_trouble(
        system=form.chosen(),
        person=link.person,
        sign=told["sign"],
        words=told["words"],
        key=told["key"],
        now=timezone.now(),
    )


@by_link
@require_GET
def owner_advice(request: HttpRequest, link: OwnerLink, public_id: uuid.UUID) -> HttpResponse:
    """What to do about the trouble reported."""
    report = get_object_or_404(reports_by(link), public_id=public_id)
    told = {**shared(request, link), "report": report, "advice": triage.advise(report.symptom)}
    return render(request, "scheduler/owner_advice.html", told)


@by_link
@require_GET
def owner_paper(request: HttpRequest, link: OwnerLink, public_id: uuid.UUID) -> HttpResponse:
    """Give the owner a paper of the place, as it was issued."""
    return file_of(get_object_or_404(papers_for(link), public_id=public_id))


def back(request: HttpRequest) -> HttpResponse:
    """To the owner's page, so that a second press of reload sends nothing again."""
    return redirect("scheduler:owner", token=token_of(request))


urlpatterns = [
    path("place/<str:token>/", owner, name="owner"),
    path("place/<str:token>/agree/<uuid:public_id>/", owner_agree, name="owner_agree"),
    path("place/<str:token>/other-day/<uuid:public_id>/", owner_other_day, name="owner_other_day"),
    path("place/<str:token>/people/", owner_people, name="owner_people"),
    path("place/<str:token>/papers/<uuid:public_id>/", owner_paper, name="owner_paper"),
    path("place/<str:token>/trouble/", owner_trouble, name="owner_trouble"),
    path("place/<str:token>/trouble/<uuid:public_id>/", owner_advice, name="owner_advice"),
]
