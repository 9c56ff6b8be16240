"""What is offered: plans, their prices from a day on, and the price list of single pieces."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse

from customers import access, agreements, price_list
from customers.access import member_required
from customers.country_rules import RuleBook
from customers.form_pages import Crumb, FormPage, facts_of, form_page
from customers.forms import PlanForm, PlanPriceForm, ServicePriceForm
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from customers.models import AftercarePlan, Premises, Service, ServicePrice
from customers.vat import rule_of, year_of_plan

if TYPE_CHECKING:
    import datetime as dt

    from customers.models import Organisation
    from customers.vat import Line, VatRule


@member_required
def plans(request: HttpRequest) -> HttpResponse:
    """Show what is offered."""
    organisation = organisation_of(request)
    today = local_today(organisation)
    rows = AftercarePlan.objects.filter(organisation=organisation).prefetch_related("prices")
    shown = [plan_shown(plan, today) for plan in rows.order_by("-offered", "name")]
    return render(request, "customers/plans.html", {"shown": shown, "today": today})


def plan_shown(
    plan: AftercarePlan, today: dt.date
) -> tuple[AftercarePlan, int, list[Line], list[object]]:
    """A plan with its price today, the lines of it for a household, and prices to come."""
    price = plan.price_on(today)
    lines = year_of_plan(plan, price_pence=price, activity=Premises.Activity.HOUSEHOLD, on=today)
    coming = [one for one in plan.prices.all() if one.valid_from > today]
    return plan, price, lines, list(coming)


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


def changeable_plan(request: HttpRequest, public_id: uuid.UUID) -> AftercarePlan:
    """A plan that the reader may change: a stranger gets 404, a reader 403."""
    rows = AftercarePlan.objects.visible_to(request.user).select_related("organisation")
    plan = get_object_or_404(rows, public_id=public_id)
    access.require_change(request.user, plan)
    return plan


@member_required
def plan_edit(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Change a plan."""
    plan = changeable_plan(request, public_id)
    form = PlanForm(request.POST or None, instance=plan, organisation=plan.organisation)
    if request.method == "POST" and form.is_valid():
        agreements.change_plan(plan=plan, by=user_of(request), facts=facts_of(form))
        messages.success(request, "Saved. Agreements already made keep their price.")
        return redirect("customers:plans")
    back = reverse("customers:plans")
    page = FormPage("Change the plan", "Save the plan", back, [Crumb("Aftercare plans", back)])
    return form_page(request, page, form)


@member_required
def plan_price(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Give a plan a new price from a day on."""
    plan = changeable_plan(request, public_id)
    today = local_today(plan.organisation)
    first = {"price_pence": plan.price_on(today), "valid_from": today}
    form = PlanPriceForm(request.POST or None, initial=first)
    if request.method == "POST" and form.is_valid():
        price_list.set_plan_price(plan=plan, by=user_of(request), **form.cleaned_data)
        messages.success(request, "Saved. Agreements already made keep their price.")
        return redirect("customers:plans")
    back = reverse("customers:plans")
    crumbs = [Crumb("Aftercare plans", back)]
    page = FormPage(f"New price of {plan}", "Save the price", back, crumbs)
    return form_page(request, page, form)


@member_required
def prices(request: HttpRequest) -> HttpResponse:
    """Show the price list with the VAT of each line."""
    organisation = organisation_of(request)
    today = local_today(organisation)
    rows = ServicePrice.objects.filter(organisation=organisation).order_by("service", "-valid_from")
    shown = [(row, *vat_words(organisation, row, today)) for row in rows]
    return render(request, "customers/prices.html", {"shown": shown, "today": today})


def vat_words(
    organisation: Organisation, row: ServicePrice, today: dt.date
) -> tuple[VatRule, VatRule]:
    """VAT of a line for a household, and for industry."""
    rules = RuleBook(organisation.profile, max(today, row.valid_from))
    household = rule_of(row.service, Premises.Activity.HOUSEHOLD, rules)
    return household, rule_of(row.service, Premises.Activity.INDUSTRIAL, rules)


@member_required
def price_set(request: HttpRequest) -> HttpResponse:
    """Put a price into the list, from a day on."""
    organisation = organisation_of(request)
    access.require(request.user, "register", organisation)
    first = {
        "valid_from": local_today(organisation),
        "service": request.GET.get("service", Service.EMPTYING),
    }
    form = ServicePriceForm(request.POST or None, initial=first)
    if request.method == "POST" and form.is_valid():
        price_list.set_service_price(
            organisation=organisation, by=user_of(request), **form.cleaned_data
        )
        messages.success(request, "Saved. What was charged already stays as it is.")
        return redirect("customers:prices")
    back = reverse("customers:prices")
    lead = "The first day of your price list is the day on which charging begins."
    page = FormPage("Set a price", "Save the price", back, [Crumb("Price list", back)], lead)
    return form_page(request, page, form)


urlpatterns = [
    path("aftercare/plans/", plans, name="plans"),
    path("aftercare/plans/add/", plan_add, name="plan_add"),
    path("aftercare/plans/<uuid:public_id>/", plan_edit, name="plan_edit"),
    path("aftercare/plans/<uuid:public_id>/price/", plan_price, name="plan_price"),
    path("aftercare/prices/", prices, name="prices"),
    path("aftercare/prices/set/", price_set, name="price_set"),
]
