"""Sales of places: what is under way, what will happen, and the button that does it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from customers import access, sales
from customers.access import member_required
from customers.form_pages import Crumb, FormPage, facts_of, form_page
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from customers.models import Premises, Sale
from scheduler.forms.sales import CallOffForm, SaleForm
from scheduler.sale_completion import complete_sale, issue_pack, leaving_at
from servicing.models import Paper

if TYPE_CHECKING:
    from uuid import UUID

SETTLED_SHOWN = 50


def steps(sale: Sale | None = None) -> list[Crumb]:
    """Path to the list of sales, or to one."""
    found = [Crumb("Sales", reverse("scheduler:sales"))]
    if sale is not None:
        found.append(Crumb(str(sale.premises), reverse("scheduler:sale", args=[sale.public_id])))
    return found


@member_required
def sale_list(request: HttpRequest) -> HttpResponse:
    """Sales under way, soonest first, and the last that were settled."""
    organisation = organisation_of(request)
    rows = Sale.objects.filter(organisation=organisation).select_related("premises", "asked_by")
    settled = rows.exclude(pk__in=rows.open()).order_by("-changed_at")[:SETTLED_SHOWN]
    told = {"open": rows.open(), "settled": settled, "today": local_today(organisation)}
    return render(request, "scheduler/sales.html", told)


@member_required
def sale(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """One sale: what is known, what will happen, what can be done."""
    return the_page(request, visible_sale(request, public_id), CallOffForm())


def visible_sale(request: HttpRequest, public_id: UUID) -> Sale:
    """A sale of the reader's organisations; 404 for a stranger."""
    rows = Sale.objects.visible_to(request.user).select_related(
        "organisation__profile", "premises__organisation", "asked_by", "buyer", "confirmed_by"
    )
    return get_object_or_404(rows, public_id=public_id)


def the_page(request: HttpRequest, shown: Sale, form: CallOffForm) -> HttpResponse:
    """The page, with the form that came back where one did."""
    today = local_today(shown.organisation)
    packs = Paper.objects.standing().listed().filter(kind=Paper.Kind.HANDOVER_PACK)
    told = {
        "sale": shown,
        "crumbs": [*steps(), Crumb(str(shown.premises))],
        "today": today,
        "leaving": leaving_at(shown, today) if shown.is_open else None,
        "packs": packs.filter(premises=shown.premises),
        "form": form,
        "can_change": access.may_change(request.user, shown),
    }
    status = 422 if form.errors else 200
    return render(request, "scheduler/sale.html", told, status=status)


@member_required
def sale_new(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Write down that a place is being sold."""
    place = get_object_or_404(Premises.objects.visible_to(request.user), public_id=public_id)
    access.require_change(request.user, place)
    today = local_today(place.organisation)
    form = SaleForm(request.POST or None, premises=place, today=today)
    if request.method == "POST" and form.is_valid():
        try:
            noted = sales.note_sale(
                premises=place, facts=form.cleaned_data, by=user_of(request), now=timezone.now()
            )
        except sales.SaleRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, "Written down. Nothing changes until completion.")
            return redirect("scheduler:sale", noted.public_id)
    back = reverse("customers:premises", args=[place.public_id])
    lead = "Until completion this changes nothing and can be called off."
    page = FormPage("Note a sale", "Save the sale", back, [Crumb(str(place), back)], lead)
    return form_page(request, page, form)


@member_required
def sale_edit(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Correct what is known of a sale under way."""
    shown = visible_sale(request, public_id)
    access.require_change(request.user, shown)
    today = local_today(shown.organisation)
    form = SaleForm(request.POST or None, instance=shown, premises=shown.premises, today=today)
    if request.method == "POST" and form.is_valid():
        try:
            sales.change_sale(sale=shown, facts=facts_of(form), by=user_of(request))
        except sales.SaleRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, "Saved.")
            return redirect("scheduler:sale", shown.public_id)
    back = reverse("scheduler:sale", args=[shown.public_id])
    return form_page(request, FormPage("Change the sale", "Save", back, steps(shown)), form)


@member_required
@require_POST
def sale_step(request: HttpRequest, public_id: UUID, verb: str) -> HttpResponse:
    """Confirm, complete, make the pack, or call off."""
    shown = visible_sale(request, public_id)
    access.require_change(request.user, shown)
    if verb not in DONE:
        raise Http404
    form = CallOffForm(request.POST)
    if verb == "call_off" and not form.is_valid():
        return the_page(request, shown, form)
    try:
        take_step(request, shown, verb, form)
    except (sales.SaleRefused, ValueError) as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, DONE[verb])
    return redirect("scheduler:sale", shown.public_id)


DONE = {
    "confirm": "Confirmed. It is completed by itself on its day, or by the button before.",
    "complete": "Completed. The new owner gets link and pack; the old links open nothing any more.",
    "pack": "The pack is issued as things stand today.",
    "call_off": "Called off. Nothing has changed at the place.",
}


def take_step(request: HttpRequest, shown: Sale, verb: str, form: CallOffForm) -> None:
    """Do what a button says."""
    user, now = user_of(request), timezone.now()
    if verb == "confirm":
        sales.confirm_sale(sale=shown, by=user, now=now)
    elif verb == "complete":
        complete_sale(sale=shown, by=user, now=now)
    elif verb == "call_off":
        because = form.cleaned_data["because"]
        sales.call_off_sale(sale=shown, because=because, by=user, now=now)
    elif issue_pack(shown.premises, by=user, today=local_today(shown.organisation)) is None:
        message = "No system in use is registered here: there is nothing to hand over."
        raise sales.SaleRefused(message)


urlpatterns = [
    path("register/sales/", sale_list, name="sales"),
    path("register/sales/<uuid:public_id>/", sale, name="sale"),
    path("register/sales/<uuid:public_id>/change/", sale_edit, name="sale_edit"),
    path("register/sales/<uuid:public_id>/<str:verb>/now/", sale_step, name="sale_step"),
    path("register/premises/<uuid:public_id>/sale/", sale_new, name="sale_new"),
]
