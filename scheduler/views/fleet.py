"""The fleet: bases, works, tankers and crews, listed, added to and changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse

from customers import access
from customers.access import member_required
from customers.form_pages import Crumb, FormPage, form_page
from customers.middleware import organisation_of
from scheduler.fleet import save_in_fleet
from scheduler.forms.fleet import BaseForm, CrewForm, TankerForm, WorksForm
from scheduler.models import Base, Crew, Tanker, Works

if TYPE_CHECKING:
    from uuid import UUID

    from django.http import HttpRequest, HttpResponse

    from customers.models import Organisation


@dataclass(frozen=True)
class Part:
    """A part of the fleet: its rows, its form and its words."""

    model: Any
    form: Any
    one: str
    lead: str
    days: str = ""
    placed: bool = False


PARTS = {
    "base": Part(Base, BaseForm, "base", "Where tankers stand overnight.", placed=True),
    "works": Part(
        Works, WorksForm, "works", "Where loads are tipped.", days="closed_days", placed=True
    ),
    "tanker": Part(
        Tanker, TankerForm, "tanker", "What fits into its day depends on this.", days="days_off"
    ),
    "crew": Part(Crew, CrewForm, "crew", "Who goes out, and where invitations go."),
}


@member_required
def fleet(request: HttpRequest) -> HttpResponse:
    """Show the whole fleet on one page."""
    organisation = organisation_of(request)
    context = {
        "tankers": Tanker.objects.filter(organisation=organisation)
        .select_related("base", "crew")
        .order_by("-in_use", "name"),
        "bases": Base.objects.filter(organisation=organisation).order_by("name"),
        "works": Works.objects.filter(organisation=organisation).order_by("-in_use", "name"),
        "crews": Crew.objects.filter(organisation=organisation)
        .select_related("user")
        .order_by("-in_use", "name"),
        "may_plan": access.may(request.user, "plan", organisation),
        "organisation": organisation,
    }
    return render(request, "scheduler/fleet.html", context)


@member_required
def fleet_new(request: HttpRequest, kind: str) -> HttpResponse:
    """Add a base, works, tanker or crew."""
    organisation = organisation_of(request)
    access.require(request.user, "plan", organisation)
    part = _part(kind)
    return _form(request, part, part.model(), organisation)


@member_required
def fleet_edit(request: HttpRequest, kind: str, public_id: UUID) -> HttpResponse:
    """Change one of them."""
    part = _part(kind)
    rows = part.model.objects.visible_to(request.user).select_related("organisation")
    row = get_object_or_404(rows, public_id=public_id)
    access.require_change(request.user, row)
    return _form(request, part, row, row.organisation)


def _part(kind: str) -> Part:
    if kind not in PARTS:
        raise Http404
    return PARTS[kind]


def _form(request: HttpRequest, part: Part, row: Any, organisation: Organisation) -> HttpResponse:
    form = part.form(request.POST or None, instance=row, organisation=organisation)
    if request.method == "POST" and form.is_valid():
        return _saved(request, part, form, organisation)
    title = f"Change {row}" if row.pk else f"Add a {part.one}"
    page = FormPage(
        title=title,
        save=f"Save this {part.one}",
        back=reverse("scheduler:fleet"),
        crumbs=[
            Crumb("Rounds", reverse("scheduler:rounds")),
            Crumb("Fleet", reverse("scheduler:fleet")),
        ],
        lead=part.lead,
    )
    template = "scheduler/fleet_placed_form.html" if part.placed else "scheduler/fleet_form.html"
    response = form_page(request, page, form, template=template)
    response.status_code = 422 if form.is_bound else 200
    return response


def _saved(request: HttpRequest, part: Part, form: Any, organisation: Organisation) -> HttpResponse:
    given = form.cleaned_data
    names = [name for name in form.Meta.fields if name in given]
    # Validating a model form has written onto its row already; a new one carries all facts.
    stored = part.model.objects.filter(pk=form.instance.pk).first()
    changed = {
        name: given[name]
        for name in names
        if stored is None or getattr(stored, name) != given[name]
    }
    row = save_in_fleet(
        row=form.instance,
        organisation=organisation,
        facts=changed,
        by=request.user,  # type: ignore[arg-type]
        days=given[part.days] if part.days else None,
        codes=given.get("own_codes"),
    )
    messages.success(request, f"{row} is saved.")
    return redirect("scheduler:fleet")


urlpatterns = [
    path("rounds/fleet/", fleet, name="fleet"),
    path("rounds/fleet/<slug:kind>/new/", fleet_new, name="fleet_new"),
    path("rounds/fleet/<slug:kind>/<uuid:public_id>/", fleet_edit, name="fleet_edit"),
]
