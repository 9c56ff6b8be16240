"""Places: list, page, adding and correcting, who has to do with them."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse

from customers import access, register
from customers.access import member_required
from customers.form_pages import Crumb, FormPage, all_valid, facts_of, form_page
from customers.forms import PartyEndForm, PartyForm, PremisesForm
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from customers.models import Party, Premises
from customers.paging import count_to, stretch_of
from customers.record_history import changes_of

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from customers.models import Organisation

POINTED = Premises.LocationSource.MAP
CRUMB = ("Premises", "customers:premises_list")


def step(premises: Premises | None = None) -> list[Crumb]:
    """Path to the list of places, or to one place."""
    steps = [Crumb(CRUMB[0], reverse(CRUMB[1]))]
    if premises is not None:
        steps.append(Crumb(str(premises), reverse("customers:premises", args=[premises.public_id])))
    return steps


def found_premises(organisation: Organisation, words: str) -> QuerySet[Premises]:
    """Places in whose name, reference, address or postcode each of the words stands."""
    rows = Premises.objects.filter(organisation=organisation)
    for word in words.split()[:6]:
        rows = rows.filter(
            Q(name__icontains=word)
            | Q(reference__icontains=word)
            | Q(address__icontains=word)
            | Q(town__icontains=word)
            | Q(postcode__icontains=word)
        )
    return rows


@member_required
def premises_list(request: HttpRequest) -> HttpResponse:
    """Show the places of the organisation, by name."""
    words = request.GET.get("words", "").strip()
    rows = found_premises(organisation_of(request), words)
    count, more = count_to(rows)
    stretch = stretch_of(rows.prefetch_related("systems"), by="name", asked=request.GET)
    context = {"stretch": stretch, "count": count, "more": more, "words": words}
    return render(request, "customers/premises_list.html", context)


@member_required
def premises(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Show a place: access, systems, people, agreements."""
    people = Party.objects.select_related("person").order_by("until", "role", "pk")
    rows = Premises.objects.visible_to(request.user).select_related("organisation")
    shown = get_object_or_404(rows, public_id=public_id)
    context = {
        "premises": shown,
        "organisation": shown.organisation,
        "today": local_today(shown.organisation),
        "systems": shown.systems.select_related("forecast"),
        "parties": list(people.filter(premises=shown)),
        "agreements": shown.agreements.select_related("plan").order_by("-starts_on"),
        "can_change": access.may_change(request.user, shown),
    }
    return render(request, "customers/premises.html", context)


@member_required
def premises_add(request: HttpRequest) -> HttpResponse:
    """Write down a place."""
    organisation = organisation_of(request)
    access.require(request.user, "register", organisation)
    form = PremisesForm(request.POST or None, organisation=organisation)
    if request.method == "POST" and form.is_valid():
        source = POINTED if form.cleaned_data["latitude"] is not None else ""
        added = register.add_premises(
            organisation=organisation, by=user_of(request), facts=form.cleaned_data, source=source
        )
        messages.success(request, f"{added} is in the register.")
        return redirect("customers:premises", added.public_id)
    page = FormPage("Add premises", "Save the place", reverse(CRUMB[1]), step())
    return form_page(request, page, form, template="customers/premises_form.html")


@member_required
def premises_edit(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Correct a place."""
    shown = changeable_premises(request, public_id)
    form = PremisesForm(request.POST or None, instance=shown, organisation=shown.organisation)
    if request.method == "POST" and form.is_valid():
        facts = facts_of(form)
        source = POINTED if {"latitude", "longitude"} & facts.keys() else None
        register.change_premises(premises=shown, by=user_of(request), facts=facts, source=source)
        messages.success(request, "Saved.")
        return redirect("customers:premises", shown.public_id)
    back = reverse("customers:premises", args=[shown.public_id])
    page = FormPage("Change the place", "Save the place", back, step(shown))
    return form_page(request, page, form, template="customers/premises_form.html")


@member_required
def premises_history(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Show who changed what here."""
    rows = Premises.objects.visible_to(request.user)
    shown = get_object_or_404(rows, public_id=public_id)
    parties = Party.history.filter(premises_id=shown.pk).select_related("history_user", "person")
    agreements = shown.agreements.model.history.filter(premises_id=shown.pk)
    changes = changes_of(
        shown.history.select_related("history_user"),
        parties,
        agreements.select_related("history_user"),
    )
    crumbs = [*step(shown), Crumb("History")]
    context = {"title": f"History of {shown}", "changes": changes, "crumbs": crumbs}
    return render(request, "includes/history_page.html", context)


@member_required
def party_add(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Say who somebody is to a place, writing them down if they are new."""
    shown = changeable_premises(request, public_id)
    form = PartyForm(request.POST or None, premises=shown)
    if request.method == "POST" and all_valid(form):
        said = form.cleaned_data
        person = said["person"] or register.add_person(
            organisation=shown.organisation,
            by=user_of(request),
            facts={name: said[name] for name in ("name", "email", "phone")},
        )
        register.add_party(
            premises=shown,
            person=person,
            role=said["role"],
            since=said["since"],
            by=user_of(request),
        )
        messages.success(request, f"{person} is written down here.")
        return redirect("customers:premises", shown.public_id)
    back = reverse("customers:premises", args=[shown.public_id])
    return form_page(request, FormPage("Add somebody", "Save", back, step(shown)), form)


@member_required
def party_end(request: HttpRequest, public_id: uuid.UUID, party_id: int) -> HttpResponse:
    """Say until when somebody was what they were."""
    shown = changeable_premises(request, public_id)
    party = get_object_or_404(shown.parties.select_related("person", "premises"), pk=party_id)
    today = local_today(shown.organisation)
    form = PartyEndForm(request.POST or None, party=party, today=today, initial={"until": today})
    if request.method == "POST" and form.is_valid():
        register.end_party(party=party, until=form.cleaned_data["until"], by=user_of(request))
        messages.success(request, "Saved. The past stays in the history.")
        return redirect("customers:premises", shown.public_id)
    back = reverse("customers:premises", args=[shown.public_id])
    title = f"{party.person} is no longer {party.get_role_display().lower()}"
    return form_page(request, FormPage(title, "Save", back, step(shown)), form)


def changeable_premises(request: HttpRequest, public_id: uuid.UUID) -> Premises:
    """A place that the reader may change: a stranger gets 404, a reader 403."""
    rows = Premises.objects.visible_to(request.user).select_related("organisation")
    shown = get_object_or_404(rows, public_id=public_id)
    access.require_change(request.user, shown)
    return shown


urlpatterns = [
    path("register/premises/", premises_list, name="premises_list"),
    path("register/premises/add/", premises_add, name="premises_add"),
    path("register/premises/<uuid:public_id>/", premises, name="premises"),
    path("register/premises/<uuid:public_id>/change/", premises_edit, name="premises_edit"),
    path("register/premises/<uuid:public_id>/history/", premises_history, name="premises_history"),
    path("register/premises/<uuid:public_id>/people/add/", party_add, name="party_add"),
    path(
        "register/premises/<uuid:public_id>/people/<int:party_id>/end/",
        party_end,
        name="party_end",
    ),
]
