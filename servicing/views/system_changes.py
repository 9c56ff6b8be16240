"""Adding a system and correcting what the register says of one."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import path, reverse

from customers import access, register
from customers.access import member_required
from customers.form_pages import Crumb, FormPage, all_valid, facts_of, form_page
from customers.forms import PremisesForm
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from customers.models import Premises
from servicing import corrections
from servicing.forecasts import refresh_forecast
from servicing.forms import (
    ChamberForm,
    DrainageFieldForm,
    OccupancyForm,
    OverrideForm,
    SystemForm,
    TankForm,
)
from servicing.models import System
from servicing.registration import register_system
from servicing.views.systems import step

if TYPE_CHECKING:
    from django.forms import BaseForm

WITH_MAP = "servicing/system_form.html"


def changeable_system(request: HttpRequest, public_id: uuid.UUID) -> System:
    """A system that the reader may change: a stranger gets 404, a reader 403."""
    rows = System.objects.visible_to(request.user).select_related("organisation", "premises")
    shown = get_object_or_404(rows, public_id=public_id)
    access.require_change(request.user, shown)
    return shown


def back_to(shown: System) -> str:
    """Address of the page of a system."""
    return reverse("servicing:system", args=[shown.public_id])


@member_required
def system_add(request: HttpRequest, public_id: uuid.UUID | None = None) -> HttpResponse:
    """Write down a system, at a place already known or together with its place."""
    organisation = organisation_of(request)
    place = None
    if public_id is not None:
        rows = Premises.objects.visible_to(request.user).select_related("organisation")
        place = get_object_or_404(rows, public_id=public_id)
        organisation = place.organisation
    access.require(request.user, "register", organisation)
    today, data = local_today(organisation), request.POST or None
    system_form = SystemForm(
        data, prefix="system", organisation=organisation, today=today, place=place
    )
    tank_form = TankForm(data, prefix="tank", units=organisation.units)
    use_form = OccupancyForm(data, prefix="use", today=today)
    place_form = None if place else PremisesForm(data, prefix="place", organisation=organisation)
    forms = [form for form in (place_form, system_form, tank_form, use_form) if form]
    if request.method == "POST" and all_valid(*forms):
        added = registered(request, organisation, place, [form.cleaned_data for form in forms])
        refresh_forecast(added, today=today)
        messages.success(request, f"{added.reference} is in the register.")
        return redirect("servicing:system", added.public_id)
    title = f"Add a system at {place}" if place else "Add a system"
    page = FormPage(title, "Save the system", reverse("servicing:systems"), step())
    return form_page(request, page, *forms, template=WITH_MAP)


@transaction.atomic
def registered(
    request: HttpRequest, organisation: Any, place: Premises | None, facts: list[dict[str, Any]]
) -> System:
    """Write down what the forms of a new system said: place (unless known), system, tank, use."""
    system_facts, tank_facts, use_facts = facts[-3:]
    if place is None:
        source = Premises.LocationSource.MAP if facts[0]["latitude"] is not None else ""
        place = register.add_premises(
            organisation=organisation, by=user_of(request), facts=facts[0], source=source
        )
    holds = system_facts["kind"] in System.HOLDS_SLUDGE
    return register_system(
        organisation=organisation,
        premises=place,
        by=user_of(request),
        system=system_facts,
        tanks=[tank_facts] if holds else [],
        occupancy=use_facts if holds else None,
    )


@member_required
def system_edit(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Correct a system."""
    shown = changeable_system(request, public_id)
    today = local_today(shown.organisation)
    form = SystemForm(
        request.POST or None, instance=shown, organisation=shown.organisation, today=today
    )

    def save() -> None:
        corrections.change_system(
            system=shown, by=user_of(request), facts=facts_of(form), today=today
        )

    return answered(request, shown, form, save, "Change the system", template=WITH_MAP)


@member_required
def tank_edit(request: HttpRequest, public_id: uuid.UUID, position: int) -> HttpResponse:
    """Correct a tank of a system; position 0 adds one."""
    shown = changeable_system(request, public_id)
    today = local_today(shown.organisation)
    tank = get_object_or_404(shown.tanks, position=position) if position else None
    form = TankForm(request.POST or None, instance=tank, units=shown.organisation.units)

    def save() -> None:
        facts = facts_of(form) if tank else form.cleaned_data
        corrections.set_tank(system=shown, tank=tank, by=user_of(request), facts=facts, today=today)

    return answered(request, shown, form, save, "Change the tank" if tank else "Add a tank")


@member_required
def occupancy_edit(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Say who uses a system from a day on."""
    shown = changeable_system(request, public_id)
    today = local_today(shown.organisation)
    last = shown.occupancies.last()
    known = {name: getattr(last, name) for name in OccupancyForm.GOES_ON} if last else {}
    form = OccupancyForm(request.POST or None, initial={"since": today, **known}, today=today)

    def save() -> None:
        told_by = str(user_of(request))
        corrections.set_occupancy(
            system=shown, by=user_of(request), facts=form.cleaned_data, told_by=told_by, today=today
        )

    lead = "What was true before stays: the forecast counts each time with its own people."
    return answered(request, shown, form, save, "Who uses it now", lead=lead)


@member_required
def chamber_edit(
    request: HttpRequest, public_id: uuid.UUID, chamber_id: int | None = None
) -> HttpResponse:
    """Correct a chamber of a system, or add one."""
    shown = changeable_system(request, public_id)
    today = local_today(shown.organisation)
    chamber = get_object_or_404(shown.chambers, pk=chamber_id) if chamber_id else None
    form = ChamberForm(request.POST or None, instance=chamber, system=shown, today=today)

    def save() -> None:
        facts = facts_of(form) if chamber else form.cleaned_data
        corrections.set_chamber(
            system=shown, chamber=chamber, by=user_of(request), facts=facts, today=today
        )

    title = "Change the chamber" if chamber else "Add a chamber"
    return answered(request, shown, form, save, title)


@member_required
def field_edit(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Say what is known of the drainage field."""
    shown = changeable_system(request, public_id)
    form = DrainageFieldForm(request.POST or None, instance=getattr(shown, "drainage_field", None))

    def save() -> None:
        corrections.set_drainage_field(system=shown, by=user_of(request), facts=form.cleaned_data)

    return answered(request, shown, form, save, "The drainage field")


@member_required
def ceiling_edit(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Record an interval against the usual rule, with its reason."""
    shown = changeable_system(request, public_id)
    today = local_today(shown.organisation)
    known = {"months": shown.ceiling_override_months, "reason": shown.ceiling_override_reason}
    form = OverrideForm(request.POST or None, initial=known)

    def save() -> None:
        corrections.override_ceiling(
            system=shown, by=user_of(request), today=today, **form.cleaned_data
        )

    lead = (
        "The forecast never goes past the longest interval that rule, agreement or maker allows. "
        "Going past it is your decision: check it with the local authority, and say why."
    )
    return answered(request, shown, form, save, "Another longest interval", lead=lead, grave=True)


def answered(
    request: HttpRequest,
    shown: System,
    form: BaseForm,
    save: Any,
    title: str,
    *,
    template: str = "includes/form_page.html",
    lead: str = "",
    grave: bool = False,
) -> HttpResponse:
    """Save a valid form and go back to the system, or show the form."""
    if request.method == "POST" and form.is_valid():
        save()
        messages.success(request, "Saved. The forecast is worked out afresh.")
        return redirect("servicing:system", shown.public_id)
    crumbs: list[Crumb] = step(shown)
    page = FormPage(title, "Save", back_to(shown), crumbs, lead=lead, grave=grave)
    return form_page(request, page, form, template=template)


urlpatterns = [
    path("systems/add/", system_add, name="system_add"),
    path("premises/<uuid:public_id>/systems/add/", system_add, name="system_add_at"),
    path("systems/<uuid:public_id>/change/", system_edit, name="system_edit"),
    path("systems/<uuid:public_id>/tanks/<int:position>/", tank_edit, name="tank_edit"),
    path("systems/<uuid:public_id>/use/", occupancy_edit, name="occupancy_edit"),
    path("systems/<uuid:public_id>/chambers/add/", chamber_edit, name="chamber_add"),
    path("systems/<uuid:public_id>/chambers/<int:chamber_id>/", chamber_edit, name="chamber_edit"),
    path("systems/<uuid:public_id>/field/", field_edit, name="field_edit"),
    path("systems/<uuid:public_id>/interval/", ceiling_edit, name="ceiling_edit"),
]
