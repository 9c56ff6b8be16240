"""Agreements: list, one with its history, start, price, notice, renew, end."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from customers import access, agreement_sales, agreements, renewing
from customers.access import member_required
from customers.agreement_lists import SHOWN, chosen, counts
from customers.agreement_record import AgreementRefused
from customers.agreement_words import terms_of
from customers.country_rules import RuleBook
from customers.form_pages import Crumb, FormPage, form_page
from customers.forms import (
    AgreementEndForm,
    AgreementForm,
    AgreementRenewForm,
    NextPriceForm,
    NoticeForm,
)
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from customers.models import Agreement
from customers.paging import count_to, stretch_of
from customers.renewing import first_notice_day, last_day_to_tell_price, last_notice_day
from customers.views.premises import changeable_premises
from customers.views.premises import step as premises_step

if TYPE_CHECKING:
    from customers.models import Premises


@member_required
def agreement_list(request: HttpRequest) -> HttpResponse:
    """Show agreements by their last day."""
    organisation = organisation_of(request)
    today = local_today(organisation)
    which = request.GET.get("which", "current")
    rows = chosen(organisation, which, today)
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
        "waiting": [
            (one, SHOWN[one], number) for one, number in counts(organisation, today).items()
        ],
        "today": today,
    }
    return render(request, "customers/agreements.html", context)


@member_required
def agreement_page(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Show one agreement: its terms, its dates, and all that happened to it."""
    rows = Agreement.objects.visible_to(request.user).select_related(
        "organisation__profile", "premises__organisation", "plan", "payer", "follows"
    )
    shown = get_object_or_404(rows, public_id=public_id)
    today = local_today(shown.organisation)
    rules = RuleBook(shown.organisation.profile, today)
    context = {
        **terms_of(shown, today=today),
        "crumbs": [*premises_step(shown.premises), Crumb("Agreement")],
        "events": shown.events.select_related("by", "person").order_by("-happened_at", "-pk"),
        "followed_by": getattr(shown, "followed_by", None),
        "first_notice": first_notice_day(shown, rules),
        "last_notice": last_notice_day(shown, rules),
        "last_price_day": last_day_to_tell_price(shown, rules),
        "can_change": access.may_change(request.user, shown),
        "next_year": shown.price_of_next_term,
    }
    return render(request, "customers/agreement.html", context)


@member_required
def agreement_add(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Draw aftercare for a place up, or write down what is agreed already."""
    place = changeable_premises(request, public_id)
    form = AgreementForm(
        request.POST or None, premises=place, today=local_today(place.organisation)
    )
    if request.method == "POST" and form.is_valid():
        made = made_or_none(request, form, place)
        if made is not None:
            return redirect("customers:premises", place.public_id)
    back = reverse("customers:premises", args=[place.public_id])
    page = FormPage("Start an agreement", "Save the agreement", back, premises_step(place))
    return form_page(request, page, form, template="customers/agreement_form.html")


def made_or_none(request: HttpRequest, form: AgreementForm, place: Premises) -> Agreement | None:
    """The agreement written down, or None with what speaks against it on the form."""
    facts = dict(form.cleaned_data)
    is_draft = facts.pop("is_draft")
    try:
        if is_draft:
            made = agreement_sales.draw_up(premises=place, by=user_of(request), facts=facts)
        else:
            made = agreements.start_agreement(premises=place, by=user_of(request), **facts)
    except ValueError as refusal:
        form.add_error("starts_on", str(refusal))
        return None
    said = "drawn up: offer it from its page" if is_draft else "written down"
    messages.success(request, f"The agreement is {said}.")
    return made


@member_required
def agreement_edit(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Change what is not agreed yet."""
    shown = changeable_agreement(request, public_id)
    if not shown.is_open_offer:
        messages.warning(request, "This agreement is settled: renew it or end it.")
        return redirect("customers:agreement", shown.public_id)
    today = local_today(shown.organisation)
    form = AgreementForm(
        request.POST or None, instance=shown, premises=shown.premises, today=today, is_draft=True
    )
    if request.method == "POST" and form.is_valid():
        facts = {name: value for name, value in form.cleaned_data.items() if name != "is_draft"}
        try:
            agreement_sales.change_draft(agreement=shown, by=user_of(request), facts=facts)
        except ValueError as refusal:
            form.add_error("starts_on", str(refusal))
        else:
            messages.success(request, "Saved. An offer that was out is taken back: offer it anew.")
            return redirect("customers:agreement", shown.public_id)
    return form_page(request, page_of(shown, "Change the agreement", "Save"), form)


def page_of(
    shown: Agreement, title: str, save: str, lead: str = "", *, grave: bool = False
) -> FormPage:
    """A page with a form about one agreement; Cancel leads back to it."""
    back = reverse("customers:agreement", args=[shown.public_id])
    steps = [*premises_step(shown.premises), Crumb("Agreement", back)]
    return FormPage(title, save, back, steps, lead, grave=grave)


@member_required
def agreement_price(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Say what the next term costs, and why."""
    shown = changeable_agreement(request, public_id)
    first = {"price_pence": shown.price_of_next_term, "reason": shown.next_price_reason}
    form = NextPriceForm(request.POST or None, initial=first)
    if request.method == "POST" and form.is_valid():
        try:
            renewing.set_next_price(agreement=shown, by=user_of(request), **form.cleaned_data)
        except AgreementRefused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, "Saved. The renewal notice tells the new price and why.")
            return redirect("customers:agreement", shown.public_id)
    lead = f"For the term after {shown.ends_on:%-d %B %Y}. This term keeps its price."
    return form_page(request, page_of(shown, "Price of the next term", "Save", lead), form)


@member_required
def agreement_notice(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Write down that the customer was told of the renewal by the office."""
    shown = changeable_agreement(request, public_id)
    today = local_today(shown.organisation)
    form = NoticeForm(request.POST or None, today=today, initial={"given_on": today})
    if request.method == "POST" and form.is_valid():
        renewing.give_notice_by_hand(agreement=shown, by=user_of(request), **form.cleaned_data)
        messages.success(request, "Written down.")
        return redirect("customers:agreement", shown.public_id)
    lead = "The customer must have been told that it renews itself, from when, and at what price."
    return form_page(request, page_of(shown, "The customer was told", "Save", lead), form)


@member_required
@require_POST
def agreement_stop(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """It ends with its term."""
    shown = changeable_agreement(request, public_id)
    renewing.stop_renewing(
        agreement=shown, words="Said by the office.", now=timezone.now(), by=user_of(request)
    )
    messages.success(request, f"It ends on {shown.ends_on:%-d %B %Y} and does not renew itself.")
    return redirect("customers:agreement", shown.public_id)


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
            refund_basis=form.cleaned_data["refund_basis"] or Agreement.RefundBasis.DAYS,
            by=user_of(request),
        )
        messages.success(request, "The agreement is ended.")
        return redirect("customers:premises", shown.premises.public_id)
    back = reverse("customers:premises", args=[shown.premises.public_id])
    page = FormPage(
        "End the agreement", "End it", back, premises_step(shown.premises), str(shown), grave=True
    )
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
    path("aftercare/agreements/", agreement_list, name="agreements"),
    path("aftercare/agreements/<uuid:public_id>/", agreement_page, name="agreement"),
    path("aftercare/agreements/<uuid:public_id>/change/", agreement_edit, name="agreement_edit"),
    path("aftercare/agreements/<uuid:public_id>/price/", agreement_price, name="agreement_price"),
    path(
        "aftercare/agreements/<uuid:public_id>/notice/", agreement_notice, name="agreement_notice"
    ),
    path("aftercare/agreements/<uuid:public_id>/stop/", agreement_stop, name="agreement_stop"),
    path("register/premises/<uuid:public_id>/agreements/add/", agreement_add, name="agreement_add"),
    path("aftercare/agreements/<uuid:public_id>/renew/", agreement_renew, name="agreement_renew"),
    path("aftercare/agreements/<uuid:public_id>/end/", agreement_end, name="agreement_end"),
]
