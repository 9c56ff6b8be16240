"""Accepted rounds by day, the work ahead, one round, its run sheet."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils.formats import date_format
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_POST

from customers import access
from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of
from scheduler import booking, round_papers, tasks
from scheduler import rounds as verbs
from scheduler.charts import WeekLoad, weeks
from scheduler.crew_sheets import contacts_at
from scheduler.forms.rounds import CrewForm, WithdrawForm
from scheduler.models import PlanRun, Round, Tanker
from scheduler.operator_sharing import jobs_with_others
from scheduler.plan_figures import rounds_nearby, runs_with_outcome, where_it_is
from scheduler.round_readiness import has_begun, round_words
from scheduler.round_sheets import map_of, rounds_with_stops, sheet_of, sheets_of
from scheduler.views.plans import back_to
from scheduler.work_ahead import weeks_ahead
from servicing.models import Paper

if TYPE_CHECKING:
    from collections.abc import Callable
    from uuid import UUID

    from django import forms
    from django.http import HttpRequest
    from django.utils.safestring import SafeString

    from customers.models import Person
    from scheduler.round_sheets import Sheet
    from scheduler.work_ahead import Week

DAYS_SHOWN = 14
RUNS_SHOWN = 8


@member_required
def rounds(request: HttpRequest) -> HttpResponse:
    """Show the rounds of the coming days, the plans made lately and the weeks ahead."""
    organisation = organisation_of(request)
    today = local_today(organisation)
    span = (today, today + dt.timedelta(days=DAYS_SHOWN - 1))
    accepted = Round.objects.filter(
        organisation=organisation, accepted_at__isnull=False, day__range=span
    )
    runs = runs_with_outcome(
        PlanRun.objects.filter(organisation=organisation, first_day__gte=today)
    )
    drives = Tanker.objects.filter(organisation=organisation, in_use=True).exists()
    load = weeks_ahead(organisation=organisation, today=today)
    context = {
        "today": today,
        "sheets": sheets_of(rounds_with_stops(accepted)),
        "runs": [(run, where_it_is(run)) for run in runs.order_by("-created_at")[:RUNS_SHOWN]],
        "weeks": load,
        "chart": _chart(load, drives=drives),
        "drives": drives,
        "with_others": jobs_with_others(organisation),
        "may_plan": access.may(request.user, "plan", organisation),
        "may_manage": access.may(request.user, "manage", organisation),
        "organisation": organisation,
    }
    return render(request, "scheduler/rounds.html", context)


def _chart(load: list[Week], *, drives: bool) -> SafeString:
    bars = [
        WeekLoad(
            label=date_format(week.monday, "j M"),
            jobs=week.jobs + week.expected,
            litres=week.litres,
            capacity_litres=week.capacity_litres if drives else None,
        )
        for week in load
    ]
    against = " against what the tankers can carry" if drives else ""
    title = f"Litres falling due by week{against}"
    return mark_safe(weeks(bars, key="weeks", title=title))  # noqa: S308 (charts escape)


def _round(request: HttpRequest, public_id: UUID) -> Round:
    return get_object_or_404(
        rounds_with_stops(Round.objects.visible_to(request.user)), public_id=public_id
    )


@member_required
def round_page(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Show one round: timeline, map, stops, who drives."""
    return _page(request, _round(request, public_id))


def _page(request: HttpRequest, planned: Round, **bound: forms.Form) -> HttpResponse:
    sheet = sheet_of(planned)
    changeable, begun = access.may_change(request.user, planned), has_begun(planned)
    today = local_today(planned.organisation)
    movable = changeable and planned.accepted_at is not None and not begun and planned.day >= today
    context = {
        "planned": planned,
        "sheet": sheet,
        "map": map_of([sheet]),
        "changeable": changeable,
        "may_visit": access.may(request.user, "visit", planned.organisation),
        "papers": Paper.objects.visible_to(request.user).listed().filter(about=planned.public_id),
        "begun": begun,
        "movable": movable,
        "elsewhere": rounds_nearby(planned, today) if movable else (),
        "crew_form": CrewForm(planned=planned),
        "withdraw_form": WithdrawForm(),
        "organisation": planned.organisation,
        **bound,
    }
    return render(request, "scheduler/round.html", context, status=422 if bound else 200)


@member_required
def run_sheet(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """The sheet a driver takes along, in driving order, for the printer."""
    planned = _round(request, public_id)
    sheet = sheet_of(planned)
    context = {
        "planned": planned,
        "sheet": sheet,
        "contacts": _contacts(request, sheet),
        "organisation": planned.organisation,
    }
    return render(request, "scheduler/round_run_sheet.html", context)


def _contacts(request: HttpRequest, sheet: Sheet) -> dict[int, Person]:
    """Whom to ring at each place, for who goes there or plans it; nobody for other readers."""
    organisation = sheet.planned.organisation
    if not any(access.may(request.user, action, organisation) for action in ("visit", "plan")):
        return {}
    return contacts_at(sheet.jobs, sheet.planned.day)


FILES: dict[str, tuple[str, Callable[[Sheet, dict[int, Person]], bytes]]] = {
    "pdf": ("application/pdf", round_papers.run_sheet_pdf),
    "ics": (
        "text/calendar; charset=utf-8",
        lambda sheet, _: round_papers.calendar_file(sheet.planned),
    ),
    "gpx": ("application/gpx+xml", lambda sheet, _: round_papers.gpx_file(sheet)),
    "geojson": ("application/geo+json", lambda sheet, _: round_papers.geojson_file(sheet)),
}


@member_required
def round_file(request: HttpRequest, public_id: UUID, kind: str) -> HttpResponse:
    """The round as a file: run sheet, calendar entry or route."""
    if kind not in FILES:
        raise Http404
    planned = _round(request, public_id)
    content_type, make = FILES[kind]
    sheet = sheet_of(planned)
    body = make(sheet, _contacts(request, sheet))
    response = HttpResponse(body, content_type=content_type)
    name = round_papers.file_name(planned, kind)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@member_required
@require_POST
def round_crew(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Say who drives."""
    planned = _round(request, public_id)
    access.require_change(request.user, planned)
    form = CrewForm(request.POST, planned=planned)
    if not form.is_valid():
        return _page(request, planned, crew_form=form)
    try:
        verbs.set_crew(planned=planned, crew=form.cleaned_data["crew"], by=request.user)  # type: ignore[arg-type]
    except booking.NotPossible as fault:
        form.add_error("crew", str(fault))
        return _page(request, planned, crew_form=form)
    transaction.on_commit(tasks.drain_outbox.delay, robust=True)
    messages.success(request, f"{round_words(planned)}: {planned.crew or 'nobody yet'} drives.")
    if planned.accepted_at is None and planned.run is not None:
        return back_to(planned.run, planned.day)
    return redirect("scheduler:round", public_id)


@member_required
@require_POST
def round_withdraw(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Call an accepted round off."""
    planned = _round(request, public_id)
    access.require_change(request.user, planned)
    form = WithdrawForm(request.POST)
    if not form.is_valid():
        return _page(request, planned, withdraw_form=form)
    try:
        done = verbs.withdraw_round(
            planned=planned,
            because=form.cleaned_data["because"],
            by=request.user,  # type: ignore[arg-type]
        )
    except booking.NotPossible as fault:
        form.add_error(None, str(fault))
        return _page(request, planned, withdraw_form=form)
    if done:
        transaction.on_commit(tasks.drain_outbox.delay, robust=True)
        messages.success(
            request, f"{round_words(planned)} is called off; owners and crew are being told."
        )
    return redirect("scheduler:rounds")


urlpatterns = [
    path("rounds/", rounds, name="rounds"),
    path("rounds/<uuid:public_id>/", round_page, name="round"),
    path("rounds/<uuid:public_id>/run-sheet/", run_sheet, name="run_sheet"),
    path("rounds/<uuid:public_id>/file/<slug:kind>/", round_file, name="round_file"),
    path("rounds/<uuid:public_id>/crew/", round_crew, name="round_crew"),
    path("rounds/<uuid:public_id>/withdraw/", round_withdraw, name="round_withdraw"),
]
