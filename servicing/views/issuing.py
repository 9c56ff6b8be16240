"""Issuing papers: one press where nothing is to be chosen, else a short form."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import path, reverse
from django.views.decorators.http import require_POST

from customers import access
from customers.access import member_required
from customers.form_pages import FormPage, form_page
from customers.local_days import local_today
from customers.middleware import user_of
from customers.models import Agreement, Premises
from servicing import paper_drafts, papers
from servicing.forms.papers import RenewalNoticeForm, SeasonTicketForm
from servicing.models import Paper, System, Visit
from servicing.paper_drafts import Draft, PaperRefused
from servicing.views.papers import place_of, step

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse


def give_out(request: HttpRequest, place: Premises, make: Callable[[], Draft]) -> HttpResponse:
    """Issue what `make` drafts for the place's organisation; say plainly why not, where not."""
    try:
        paper = papers.issue(
            draft=make(),
            organisation=place.organisation,
            by=user_of(request),
            today=local_today(place.organisation),
        )
    except PaperRefused as refused:
        for reason in refused.reasons:
            messages.warning(request, reason)
        return redirect("servicing:papers", place.public_id)
    return redirect("servicing:paper", paper.public_id)


@member_required
@require_POST
def handover_pack(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Issue the handover pack of a place."""
    place = place_of(request, public_id)
    access.require(request.user, "register", place.organisation)
    today = local_today(place.organisation)
    return give_out(
        request, place, lambda: paper_drafts.handover_pack_draft(premises=place, today=today)
    )


@member_required
@require_POST
def service_record(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Issue the service record of a visit."""
    rows = Visit.objects.visible_to(request.user).select_related(
        "system__premises__organisation", "system__organisation__profile", "organisation"
    )
    visit = get_object_or_404(rows, public_id=public_id)
    place = visit.system.premises
    access.require(request.user, "visit", place.organisation)
    today = local_today(place.organisation)
    return give_out(
        request,
        place,
        lambda: paper_drafts.service_record_draft(
            visit=visit, organisation=place.organisation, today=today
        ),
    )


@member_required
def season_ticket(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Ask for the season and issue the ticket."""
    rows = System.objects.visible_to(request.user).select_related(
        "organisation__profile", "premises__organisation"
    )
    system = get_object_or_404(rows, public_id=public_id)
    access.require(request.user, "register", system.organisation)
    form = SeasonTicketForm(request.POST or None, today=local_today(system.organisation))
    if request.method == "POST" and form.is_valid():
        made = issued_or_none(
            request,
            form,
            system.premises,
            lambda: paper_drafts.season_ticket_draft(
                system=system, carrier=system.organisation, **form.cleaned_data
            ),
        )
        if made is not None:
            return redirect("servicing:paper", made.public_id)
    lead = "One note for repeated collections. For single households use a note a collection."
    return paper_form(request, system.premises, form, f"Season ticket of {system.reference}", lead)


def issued_or_none(
    request: HttpRequest, form: Any, place: Premises, make: Callable[[], Draft]
) -> Paper | None:
    """The paper issued, or None with the reasons against it on the form."""
    try:
        return papers.issue(
            draft=make(),
            organisation=place.organisation,
            by=user_of(request),
            today=local_today(place.organisation),
        )
    except PaperRefused as refused:
        for reason in refused.reasons:
            form.add_error(None, reason)
    return None


def paper_form(
    request: HttpRequest, place: Premises, form: Any, title: str, lead: str = ""
) -> HttpResponse:
    """A page with what is chosen before a paper is issued."""
    back = reverse("servicing:papers", args=[place.public_id])
    page = FormPage(title, "Issue", back, step(place, papers_too=True), lead)
    return form_page(request, page, form)


def agreement_of(request: HttpRequest, public_id: uuid.UUID) -> Agreement:
    """An agreement whose papers the reader may issue."""
    rows = Agreement.objects.visible_to(request.user).select_related(
        "organisation", "premises__organisation", "plan", "payer"
    )
    found = get_object_or_404(rows, public_id=public_id)
    access.require(request.user, "register", found.organisation)
    return found


@member_required
@require_POST
def agreement_paper(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Issue the agreement on paper."""
    found = agreement_of(request, public_id)
    today = local_today(found.organisation)
    return give_out(
        request,
        found.premises,
        lambda: paper_drafts.agreement_draft(agreement=found, today=today),
    )


@member_required
def renewal_notice(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Ask for the price of the next term and issue the notice."""
    found = agreement_of(request, public_id)
    first = {"new_price_pence": found.price_pence}
    form = RenewalNoticeForm(request.POST or None, initial=first)
    if request.method == "POST" and form.is_valid():
        made = issued_or_none(
            request,
            form,
            found.premises,
            lambda: paper_drafts.renewal_notice_draft(
                agreement=found, today=local_today(found.organisation), **form.cleaned_data
            ),
        )
        if made is not None:
            return redirect("servicing:paper", made.public_id)
    lead = f"{found.plan}, which ends on {found.ends_on:%-d %B %Y}."
    return paper_form(request, found.premises, form, "Notice of renewal", lead)


urlpatterns = [
    path("premises/<uuid:public_id>/handover-pack/", handover_pack, name="handover_pack"),
    path("visits/<uuid:public_id>/service-record/", service_record, name="service_record"),
    path("systems/<uuid:public_id>/season-ticket/", season_ticket, name="season_ticket"),
    path("agreements/<uuid:public_id>/paper/", agreement_paper, name="agreement_paper"),
    path("agreements/<uuid:public_id>/renewal-notice/", renewal_notice, name="renewal_notice"),
]
