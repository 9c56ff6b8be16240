"""Agreements: list, start, renew, end; and the plans they are made on."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse

from customers import access, agreements
from customers.access import member_required
from customers.form_pages import Crumb, FormPage, facts_of, form_page
from customers.forms import AgreementEndForm, AgreementForm, AgreementRenewForm, PlanForm
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from customers.models import AftercarePlan, Agreement
from customers.paging import count_to, stretch_of
from customers.views.premises import changeable_premises
from customers.views.premises import step as premises_step

if TYPE_CHECKING:
    from customers.models.agreements import AgreementQuerySet

NOTICE_DAYS = 90
SHOWN = {
    "current": "Running now",
    "ending": "Ending within 90 days",
    "past": "Ended",
    "all": "All",
}


def chosen(rows: AgreementQuerySet, which: str, today: dt.date) -> AgreementQuerySet:
    """Agreements of one of the kinds in SHOWN."""
    if which == "current":
        return rows.current(today)
    if which == "ending":
        return rows.current(today).filter(ends_on__lte=today + dt.timedelta(days=NOTICE_DAYS))
    if which == "past":
        return rows.exclude(pk__in=rows.current(today).values("pk")).filter(starts_on__lte=today)
    return rows


@member_required
def agreement_list(request: HttpRequest) -> HttpResponse:
    """Show agreements by their last day."""
    organisation = organisation_of(request)
    today = local_today(organisation)
    which = request.GET.get("which", "current")
    rows = chosen(Agreement.objects.filter(organisation=organisation), which, today)
    count, more = count_to(rows)
    stretch = stretch_of(
        rows.select_related("plan", "premises", "payer"), by="ends_on", asked=request.GET
    )
    context = {
        "stretch": stretch,
        "count": count,
        "more": more,
        "which": which,
        "choices": SHOWN,
        "today": today,
    }
    return render(request, "customers/agreements.html", context)


@member_required
def agreement_add(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Sell aftercare for a place."""
    place = changeable_premises(request, public_id)
    form = AgreementForm(
        request.POST or None, premises=place, today=local_today(place.organisation)
    )
    if request.method == "POST" and form.is_valid():
        try:
            agreements.start_agreement(premises=place, by=user_of(request), **form.cleaned_data)
        except ValueError as refusal:
            form.add_error("starts_on", str(refusal))
        else:
            messages.success(request, "The agreement is written down.")
            return redirect("customers:premises", place.public_id)
    back = reverse("customers:premises", args=[place.public_id])
    page = FormPage("Start an agreement", "Save the agreement", back, premises_step(place))
    return form_page(request, page, form, template="customers/agreement_form.html")


@member_required
def agreement_renew(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Follow an agreement by the next term."""
    shown = changeable_agreement(request, public_id)
    form = AgreementRenewForm(request.POST or None, initial={"price_pence": shown.price_pence})
    if request.method == "POST" and form.is_valid():
        try:
            following = agreements.renew_agreement(
                agreement=shown, price_pence=form.cleaned_data["price_pence"], by=user_of(request)
            )
        except ValueError as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, f"Renewed until {following.ends_on:%-d %B %Y}.")
            return redirect("customers:premises", shown.premises.public_id)
    back = reverse("customers:premises", args=[shown.premises.public_id])
    starts_on = shown.ends_on + dt.timedelta(days=1)
    lead = f"{shown.plan}: the next term starts on {starts_on:%-d %B %Y}."
    page = FormPage("Renew the agreement", "Renew", back, premises_step(shown.premises), lead)
    return form_page(request, page, form)


@member_required
def agreement_end(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """End an agreement before its term is out."""
    shown = changeable_agreement(request, public_id)
    today = local_today(shown.organisation)
    form = AgreementEndForm(request.POST or None, agreement=shown, initial={"ended_on": today})
    if request.method == "POST" and form.is_valid():
        agreements.end_agreement(
            agreement=shown,
            ended_on=form.cleaned_data["ended_on"],
            reason=form.cleaned_data["ended_reason"],
            by=user_of(request),
        )
        messages.success(request, "The agreement is ended.")
        return redirect("customers:premises", shown.premises.public_id)
    back = reverse("customers:premises", args=[shown.premises.public_id])
    page = FormPage(
        "End the agreement", "End it", back, premises_step(shown.premises), str(shown), grave=True
    )
    return form_page(request, page, form)


@member_required
def plans(request: HttpRequest) -> HttpResponse:
    """Show what is offered."""
    organisation = organisation_of(request)
    rows = AftercarePlan.objects.filter(organisation=organisation).order_by("-offered", "name")
    return render(request, "customers/plans.html", {"plans": rows})


@member_required
def plan_add(request: HttpRequest) -> HttpResponse:
    """Offer a new plan."""
    organisation = organisation_of(request)
    access.require(request.user, "register", organisation)
    form = PlanForm(request.POST or None, organisation=organisation)
    if request.method == "POST" and form.is_valid():
        agreements.add_plan(organisation=organisation, by=user_of(request), facts=form.cleaned_data)
        messages.success(request, "The plan is written down.")
        return redirect("customers:plans")
    back = reverse("customers:plans")
    page = FormPage("Add a plan", "Save the plan", back, [Crumb("Aftercare plans", back)])
    return form_page(request, page, form)


@member_required
def plan_edit(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Change a plan."""
    rows = AftercarePlan.objects.visible_to(request.user).select_related("organisation")
    plan = get_object_or_404(rows, public_id=public_id)
    access.require_change(request.user, plan)
    form = PlanForm(request.POST or None, instance=plan, organisation=plan.organisation)
    if request.method == "POST" and form.is_valid():
        agreements.change_plan(plan=plan, by=user_of(request), facts=facts_of(form))
        messages.success(request, "Saved. Agreements already made keep their price.")
        return redirect("customers:plans")
    back = reverse("customers:plans")
    page = FormPage("Change the plan", "Save the plan", back, [Crumb("Aftercare plans", back)])
    return form_page(request, page, form)


def changeable_agreement(request: HttpRequest, public_id: uuid.UUID) -> Agreement:
    """An agreement that the reader may change: a stranger gets 404, a reader 403."""
    rows = Agreement.objects.visible_to(request.user)
    shown = get_object_or_404(
        rows.select_related("organisation", "premises", "plan", "payer"), public_id=public_id
    )
    access.require_change(request.user, shown)
    return shown


urlpatterns = [
    path("register/agreements/", agreement_list, name="agreements"),
    path("register/premises/<uuid:public_id>/agreements/add/", agreement_add, name="agreement_add"),
    path("register/agreements/<uuid:public_id>/renew/", agreement_renew, name="agreement_renew"),
    path("register/agreements/<uuid:public_id>/end/", agreement_end, name="agreement_end"),
    path("organisation/plans/", plans, name="plans"),
    path("organisation/plans/add/", plan_add, name="plan_add"),
    path("organisation/plans/<uuid:public_id>/", plan_edit, name="plan_edit"),
]
