"""Loads and tips for the office: what came on board, what went out, what does not add up."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_GET

from customers import access
from customers.access import member_required
from customers.form_pages import Crumb, FormPage, form_page
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from scheduler.booking import NotPossible
from scheduler.forms.loads import LoadsForm
from scheduler.forms.today import TipForm, tip_start
from scheduler.load_lists import books_of, load_lines, sums_of
from scheduler.models import Tip
from scheduler.tips import TipRefused, load_at, record_tip, tipped_words

if TYPE_CHECKING:
    from uuid import UUID

    from django.http import HttpRequest

    from scheduler.loads import Book


def asked_for(request: HttpRequest) -> tuple[LoadsForm, list[Book]]:
    """The form as it was sent and the ledgers it asks for."""
    organisation = organisation_of(request)
    form = LoadsForm(request.GET, organisation=organisation, today=local_today(organisation))
    if not form.is_valid():
        return form, []
    told = form.cleaned_data
    return form, books_of(organisation, told["first"], told["last"], told["tanker"])


@member_required
@require_GET
def loads(request: HttpRequest) -> HttpResponse:
    """Show each tanker's ledger."""
    form, books = asked_for(request)
    shown = {
        "form": form,
        "told": form.cleaned_data if form.is_valid() else {},
        "books": books,
        "sums": sums_of(books),
        "may_correct": access.may(request.user, "visit", organisation_of(request)),
        "place": "rounds",
        "query": request.GET.urlencode(),
    }
    return render(request, "scheduler/loads.html", shown, status=200 if form.is_valid() else 422)


@member_required
@require_GET
def loads_file(request: HttpRequest) -> HttpResponse:
    """Give the same as CSV."""
    form, books = asked_for(request)
    if not form.is_valid():
        return redirect(f"{reverse('scheduler:loads')}?{request.GET.urlencode()}")
    told = form.cleaned_data
    lines = load_lines(organisation_of(request), books)
    answer = HttpResponse(lines, content_type="text/csv; charset=utf-8")
    name = f"loads-{told['first']}-{told['last']}.csv"
    answer["Content-Disposition"] = content_disposition_header(True, name)
    return answer


@member_required
def tip(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Put a ticket right that was noted wrongly; what it said is kept in its history."""
    rows = Tip.objects.visible_to(request.user).select_related(
        "stop__round__tanker__organisation", "stop__round__organisation", "stop__works", "works"
    )
    found = get_object_or_404(rows, public_id=public_id)
    access.require_change(request.user, found)
    stop, units = found.stop, found.organisation.units
    back = reverse("scheduler:loads")
    if stop is None:
        messages.warning(request, "Its round was planned anew: this ticket stays as it is.")
        return redirect(back)
    form = TipForm(
        request.POST or None, units=units, initial=tip_start(stop, units), book=load_at(stop)
    )
    if request.method == "POST" and form.is_valid():
        try:
            noted = record_tip(stop=stop, told=form.told(), by=user_of(request), now=timezone.now())
        except TipRefused as refused:
            form.add_refusals(refused.refusals)
        except NotPossible as impossible:
            form.add_error(None, str(impossible))
        else:
            messages.success(request, tipped_words(noted))
            return redirect(back)
    page = FormPage(f"Ticket {found.ticket}", "Put right", back, (Crumb("Loads and tips", back),))
    return form_page(request, page, form)


urlpatterns = [
    path("rounds/loads/", loads, name="loads"),
    path("rounds/loads/file/", loads_file, name="loads_file"),
    path("tips/<uuid:public_id>/", tip, name="tip"),
]
