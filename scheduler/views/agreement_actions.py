"""What the office does about an agreement that sends word to the customer."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST

from customers import agreement_sales
from customers.access import member_required
from customers.agreement_record import AgreementRefused
from customers.form_pages import form_page
from customers.local_days import local_today
from customers.middleware import user_of
from customers.models import Agreement
from customers.views.agreements import changeable_agreement, page_of
from scheduler.aftercare import selling
from scheduler.forms.agreements import CancelledForm, SignedForm

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.forms import Form


@member_required
@require_POST
def agreement_offer(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Offer an agreement: it goes to who pays, with the way to their page."""
    shown = changeable_agreement(request, public_id)
    try:
        selling.offer(agreement=shown, by=user_of(request), now=timezone.now())
    except AgreementRefused as refusal:
        messages.warning(request, str(refusal))
    else:
        messages.success(
            request, "Offered. It is on its way by e-mail or letter; it can be signed on paper too."
        )
    return redirect("customers:agreement", shown.public_id)


@member_required
@require_POST
def agreement_not_wanted(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Put a draft or an offer aside."""
    shown = changeable_agreement(request, public_id)
    agreement_sales.decline(
        agreement=shown, words="Put aside by the office.", now=timezone.now(), by=user_of(request)
    )
    messages.success(request, "Put aside. Draw up another whenever it is wanted.")
    return redirect("customers:agreement", shown.public_id)


@member_required
def agreement_signed(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Write down a signature on paper."""
    shown = changeable_agreement(request, public_id)
    today = local_today(shown.organisation)
    first = {"name": shown.payer.name if shown.payer else "", "signed_on": today, "informed": True}
    form = SignedForm(request.POST or None, today=today, initial=first)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        if done(form, lambda: signed(request, shown, said)):
            messages.success(request, "The agreement is made.")
            return redirect("customers:agreement", shown.public_id)
    lead = f"{shown}, signed on paper."
    return form_page(request, page_of(shown, "Signed on paper", "Save", lead), form)


def signed(request: HttpRequest, shown: Agreement, said: dict[str, object]) -> None:
    """Write the signature down in the name of the reader."""
    now = timezone.now()
    selling.agree_on_paper(agreement=shown, by=user_of(request), now=now, **said)  # type: ignore[arg-type]


@member_required
def agreement_cancel(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """The customer cancelled within the days for it."""
    shown = changeable_agreement(request, public_id)
    today = local_today(shown.organisation)
    form = CancelledForm(request.POST or None, today=today, initial={"said_on": today})
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        now, by = timezone.now(), user_of(request)
        if done(form, lambda: selling.cancel_for_customer(agreement=shown, by=by, now=now, **said)):
            messages.success(request, "Cancelled. What is given back stands among the charges.")
            return redirect("customers:agreement", shown.public_id)
    until = f"{shown.cancel_by:%-d %B %Y}" if shown.cancel_by else "not known"
    lead = f"Last day to cancel: {until}."
    page = page_of(shown, "The customer cancels", "Cancel the agreement", lead, grave=True)
    return form_page(request, page, form)


def done(form: Form, write: Callable[[], object]) -> bool:
    """Whether it could be written down; else the form says why not."""
    try:
        write()
    except ValueError as refusal:
        form.add_error(None, str(refusal))
        return False
    return True


urlpatterns = [
    path("aftercare/agreements/<uuid:public_id>/offer/", agreement_offer, name="agreement_offer"),
    path(
        "aftercare/agreements/<uuid:public_id>/not-wanted/",
        agreement_not_wanted,
        name="agreement_not_wanted",
    ),
    path(
        "aftercare/agreements/<uuid:public_id>/signed/", agreement_signed, name="agreement_signed"
    ),
    path(
        "aftercare/agreements/<uuid:public_id>/cancel/", agreement_cancel, name="agreement_cancel"
    ),
]
