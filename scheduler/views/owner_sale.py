"""The seller tells of a sale on the owner's page, and takes it back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_http_methods, require_POST

from customers import sales
from scheduler.forms.sales import SaleForm
from scheduler.job_sheets import today_at
from scheduler.owner_parts import part_of
from scheduler.views.owner_gate import back, by_link, shared, token_of, why

if TYPE_CHECKING:
    from customers.models import OwnerLink


@by_link
@require_http_methods(["GET", "HEAD", "POST"])
def owner_sale(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Tell us that the house is being sold; the office rings before anything happens."""
    require_decides(link)
    today = today_at(link.premises, timezone.now())
    form = SaleForm(request.POST or None, premises=link.premises, today=today)
    if request.method == "POST" and form.is_valid():
        try:
            sales.ask_sale(link=link, facts=form.cleaned_data)
        except sales.SaleRefused as refused:
            form.add_error(None, why(refused, gettext("Please ring us if something has changed.")))
        else:
            messages.success(
                request, gettext("Thank you. We shall ring you before anything changes.")
            )
            return redirect("scheduler:owner", token=token_of(request))
    told = {**shared(request, link), "form": form, "sale": sales.open_sale(link.premises)}
    status = 422 if form.errors else 200
    return render(request, "scheduler/owner_sale.html", told, status=status)


@by_link
@require_POST
def owner_sale_back(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Take back what was told of a sale, as long as the office has not confirmed it."""
    require_decides(link)
    if sales.take_back_sale(link=link, now=timezone.now()) is None:
        messages.warning(
            request, gettext("There is nothing of yours to take back. Please ring us.")
        )
    else:
        messages.success(request, gettext("Taken back. Nothing has changed."))
    return back(request)


def require_decides(link: OwnerLink) -> None:
    """Only owner or operator may tell of a sale: for others there is no such page."""
    if not part_of(link).decides:
        raise Http404


urlpatterns = [
    path("place/<str:token>/sale/", owner_sale, name="owner_sale"),
    path("place/<str:token>/sale/back/", owner_sale_back, name="owner_sale_back"),
]
