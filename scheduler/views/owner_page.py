"""The owner's page: no account, one place, opened by a signed link."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from customers.sales import open_sale
from scheduler import booking, triage
from scheduler.forms.owner_page import OtherDayForm, PeopleForm, TroubleForm
from scheduler.job_sheets import today_at
from scheduler.messages.opened import NAME as MESSAGE_MARK
from scheduler.messages.opened import note_opened
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
from scheduler.owner_proofs import photos_for, proved
from scheduler.owner_requests import agree_by_link, choose_language, report_trouble, tell_occupancy
from scheduler.views.owner_gate import back, by_link, remember, shared, token_of, why
from scheduler.views.photos import photo_file
from servicing.compliance import findings_at
from servicing.models import OperatorCheck, System
from servicing.views.papers import file_of

if TYPE_CHECKING:
    from customers.models import OwnerLink


@by_link
@require_GET
def owner(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Show the place to its owner."""
    link.opened()
    note_opened(request.GET.get(MESSAGE_MARK, ""), link, now=timezone.now())
    answer = place_page(request, link)
    remember(answer, token_of(request))
    return answer


def place_page(
    request: HttpRequest, link: OwnerLink, refused: forms.Form | None = None
) -> HttpResponse:
    """The page, with the form that came back where one did."""
    now = timezone.now()
    today = today_at(link.premises, now)
    shown = [owners_view_of(one, now) for one in systems_at(link.premises)]
    part = part_of(link, today)
    proofs = proved(link, part, [visit for one in shown for visit in one.visits])
    told = {
        **shared(request, link),
        "shown": [(one, with_forms(one.planned, today, refused)) for one in shown],
        "past": [(one, [proofs[visit.pk] for visit in one.visits]) for one in shown],
        "today": today,
        "people_form": people_form(link, shown),
        "refused": refused,
        "papers": papers_for(link, part).standing().listed(),
        "part": part,
        "sale": open_sale(link.premises),
        "last_check": OperatorCheck.objects.filter(system__premises=link.premises).first(),
        "findings": [one for view in shown for one in findings_at(view.system, today)],
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
        messages.warning(
            request, why(impossible, gettext("Please ask for another day, or ring us."))
        )
    else:
        messages.success(
            request,
            gettext("Thank you, that is agreed. You only need to leave the cover reachable."),
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
        messages.warning(request, why(impossible, gettext("Please ring us.")))
    else:
        messages.success(
            request, gettext("Thank you. We shall look at your days and write to you.")
        )
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
    messages.success(
        request, gettext("Thank you. The dates on this page have been worked out afresh.")
    )
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
@require_POST
def owner_language(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Take the owner's word for what they read; it holds for messages too."""
    choose_language(person=link.person, language=request.POST.get("language", ""))
    return back(request)


@by_link
@require_GET
def owner_paper(request: HttpRequest, link: OwnerLink, public_id: uuid.UUID) -> HttpResponse:
    """Give the owner a paper of the place, as it was issued."""
    return file_of(get_object_or_404(papers_for(link), public_id=public_id))


@by_link
@require_GET
def owner_photo(request: HttpRequest, link: OwnerLink, public_id: uuid.UUID) -> HttpResponse:
    """Show a photograph of a visit to somebody who belonged to the place on that day."""
    return photo_file(get_object_or_404(photos_for(link), public_id=public_id))


urlpatterns = [
    path("place/<str:token>/", owner, name="owner"),
    path("place/<str:token>/agree/<uuid:public_id>/", owner_agree, name="owner_agree"),
    path("place/<str:token>/other-day/<uuid:public_id>/", owner_other_day, name="owner_other_day"),
    path("place/<str:token>/language/", owner_language, name="owner_language"),
    path("place/<str:token>/people/", owner_people, name="owner_people"),
    path("place/<str:token>/papers/<uuid:public_id>/", owner_paper, name="owner_paper"),
    path("place/<str:token>/photos/<uuid:public_id>/", owner_photo, name="owner_photo"),
    path("place/<str:token>/trouble/", owner_trouble, name="owner_trouble"),
    path("place/<str:token>/trouble/<uuid:public_id>/", owner_advice, name="owner_advice"),
]
