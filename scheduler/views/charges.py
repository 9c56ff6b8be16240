"""Charges: what is owed, handed to the bookkeeping in batches, or made void."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.db.models import QuerySet, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from customers import access
from customers.access import member_required
from customers.form_pages import Crumb, FormPage, form_page
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from customers.paging import count_to, stretch_of
from scheduler.aftercare.batches import make_batch, void_charge
from scheduler.aftercare.fees import charge_fees_of
from scheduler.aftercare.lines import charging_begins
from scheduler.aftercare.reckoning import reckon_visits_of
from scheduler.forms.agreements import VoidForm
from scheduler.models import Charge, ChargeBatch, Reckoning

if TYPE_CHECKING:
    from customers.models import Organisation

SHOWN = {"owed": "Owed", "exported": "Handed to bookkeeping", "void": "Void", "all": "All"}
BATCHES_SHOWN = 24
NO_PRICE_SHOWN = 20


@member_required
@require_GET
def charges(request: HttpRequest) -> HttpResponse:
    """Show the charges, the batches, and the work that has no price."""
    organisation = organisation_of(request)
    which = request.GET.get("which", "owed")
    rows = Charge.objects.filter(organisation=organisation)
    shown = rows.filter(state=which) if which in Charge.State.values else rows
    count, more = count_to(shown)
    context = {
        **beside(organisation),
        "stretch": stretch_of(
            shown.select_related("premises", "batch"), by="charged_on", asked=request.GET
        ),
        "count": count,
        "more": more,
        "which": which,
        "choices": SHOWN,
        "can_void": access.may(request.user, "register", organisation),
    }
    return render(request, "scheduler/charges.html", context)


def beside(organisation: Organisation) -> dict[str, Any]:
    """What stands beside the lines: sums, batches, work without a price."""
    owed = Charge.objects.filter(organisation=organisation).due(local_today(organisation))
    without_price = Reckoning.objects.filter(
        organisation=organisation, outcome=Reckoning.Outcome.NO_PRICE
    ).select_related("visit__system__premises")
    return {
        "owed": sums(owed),
        "batches": ChargeBatch.objects.filter(organisation=organisation)[:BATCHES_SHOWN],
        "without_price": without_price.order_by("-visit__visited_on")[:NO_PRICE_SHOWN],
        "begins": charging_begins(organisation),
    }


def sums(rows: QuerySet[Charge]) -> dict[str, Any]:
    """Number, pence before VAT and VAT of some charges."""
    found = rows.order_by().aggregate(net=Sum("net_pence"), vat=Sum("vat_pence"))
    net, vat = found["net"] or 0, found["vat"] or 0
    return {"count": rows.count(), "net": net, "vat": vat, "gross": net + vat}


@member_required
@require_POST
def charges_find(request: HttpRequest) -> HttpResponse:
    """Write what has fallen due until today."""
    organisation = organisation_of(request)
    access.require(request.user, "register", organisation)
    visits = reckon_visits_of(organisation)
    fees = charge_fees_of(organisation, today=local_today(organisation))
    messages.success(request, f"Done: {visits} visits reckoned, {fees} lines of fees written.")
    return redirect("scheduler:charges")


@member_required
@require_POST
def charges_batch(request: HttpRequest) -> HttpResponse:
    """Hand what is owed to the bookkeeping."""
    organisation = organisation_of(request)
    batch = make_batch(organisation=organisation, by=user_of(request), now=timezone.now())
    if batch is None:
        messages.warning(request, "Nothing is owed. Fetch an earlier batch again below.")
    else:
        messages.success(request, f"Batch {batch.number} with {batch.lines} lines: fetch it below.")
    return redirect("scheduler:charges")


@member_required
@require_GET
def charges_file(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """A batch as it was given out, byte for byte."""
    batch = get_object_or_404(
        ChargeBatch.objects.visible_to(request.user).select_related("organisation"),
        public_id=public_id,
    )
    access.require_change(request.user, batch)
    response = HttpResponse(f"\ufeff{batch.content}", content_type="text/csv; charset=utf-8")
    name = f"charges-{batch.organisation.slug}-{batch.number:05d}.csv"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@member_required
def charge_void(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Make an owed charge void, with the reason."""
    rows = Charge.objects.visible_to(request.user).select_related("organisation", "premises")
    charge = get_object_or_404(rows, public_id=public_id)
    access.require_change(request.user, charge)
    form = VoidForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        kept = void_charge(charge=charge, by=user_of(request), **form.cleaned_data)
        if kept.state == Charge.State.EXPORTED:
            messages.warning(request, "The bookkeeping has it already: put it right there.")
        else:
            messages.success(request, "The charge is void.")
        return redirect("scheduler:charges")
    back = reverse("scheduler:charges")
    lead = f"{charge.words}, {charge.premises}."
    page = FormPage("Make void", "Make it void", back, [Crumb("Charges", back)], lead, grave=True)
    return form_page(request, page, form)


urlpatterns = [
    path("aftercare/charges/", charges, name="charges"),
    path("aftercare/charges/find/", charges_find, name="charges_find"),
    path("aftercare/charges/batch/", charges_batch, name="charges_batch"),
    path("aftercare/charges/batch/<uuid:public_id>/", charges_file, name="charges_file"),
    path("aftercare/charges/<uuid:public_id>/void/", charge_void, name="charge_void"),
]
