"""People: list, page, adding and correcting, how they may be written to."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse

from customers import access, register
from customers.access import member_required
from customers.form_pages import Crumb, FormPage, facts_of, form_page
from customers.forms import PersonForm, PreferenceForm
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from customers.models import Person
from customers.paging import count_to, stretch_of
from customers.record_history import changes_of


def step(person: Person | None = None) -> list[Crumb]:
    """Path to the list of people, or to one person."""
    steps = [Crumb("People", reverse("customers:people"))]
    if person is not None:
        steps.append(Crumb(person.name, reverse("customers:person", args=[person.public_id])))
    return steps


@member_required
def people(request: HttpRequest) -> HttpResponse:
    """Show the people of the organisation, by name."""
    words = request.GET.get("words", "").strip()
    rows = Person.objects.filter(organisation=organisation_of(request))
    for word in words.split()[:6]:
        rows = rows.filter(
            Q(name__icontains=word) | Q(email__icontains=word) | Q(phone__icontains=word)
        )
    count, more = count_to(rows)
    stretch = stretch_of(rows.prefetch_related("parties__premises"), by="name", asked=request.GET)
    context = {"stretch": stretch, "count": count, "more": more, "words": words}
    return render(request, "customers/people.html", context)


@member_required
def person(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Show a person: how to reach them, what they allow, what they are to which place."""
    rows = Person.objects.visible_to(request.user).select_related("organisation")
    shown = get_object_or_404(rows, public_id=public_id)
    lines = list(shown.preferences.all())
    context = {
        "person": shown,
        "parties": shown.parties.select_related("premises").order_by("until", "pk"),
        "standing": register.standing_preferences(lines),
        "lines": lines,
        "agreements": shown.agreement_set.select_related("plan", "premises").order_by("-ends_on"),
        "today": local_today(shown.organisation),
        "can_change": access.may_change(request.user, shown),
    }
    return render(request, "customers/person.html", context)


@member_required
def person_add(request: HttpRequest) -> HttpResponse:
    """Write down a person."""
    organisation = organisation_of(request)
    access.require(request.user, "register", organisation)
    form = PersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        added = register.add_person(
            organisation=organisation, by=user_of(request), facts=form.cleaned_data
        )
        messages.success(request, f"{added} is in the register.")
        return redirect("customers:person", added.public_id)
    page = FormPage("Add a person", "Save", reverse("customers:people"), step())
    return form_page(request, page, form)


@member_required
def person_edit(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Correct a person."""
    shown = changeable_person(request, public_id)
    form = PersonForm(request.POST or None, instance=shown)
    if request.method == "POST" and form.is_valid():
        register.change_person(person=shown, by=user_of(request), facts=facts_of(form))
        messages.success(request, "Saved.")
        return redirect("customers:person", shown.public_id)
    back = reverse("customers:person", args=[shown.public_id])
    return form_page(request, FormPage(f"Change {shown}", "Save", back, step(shown)), form)


@member_required
def preference_add(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Write down what a person allows or refuses."""
    shown = changeable_person(request, public_id)
    form = PreferenceForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        register.record_preference(person=shown, by=user_of(request), **form.cleaned_data)
        messages.success(request, "Written down. It holds from now on.")
        return redirect("customers:person", shown.public_id)
    back = reverse("customers:person", args=[shown.public_id])
    page = FormPage(
        "What they allow",
        "Write it down",
        back,
        step(shown),
        lead="Lines are only added, never changed: the newest holds.",
    )
    return form_page(request, page, form)


@member_required
def person_history(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Show who changed what about a person."""
    shown = get_object_or_404(Person.objects.visible_to(request.user), public_id=public_id)
    changes = changes_of(shown.history.select_related("history_user"))
    crumbs = [*step(shown), Crumb("History")]
    context = {"title": f"History of {shown}", "changes": changes, "crumbs": crumbs}
    return render(request, "includes/history_page.html", context)


def changeable_person(request: HttpRequest, public_id: uuid.UUID) -> Person:
    """A person whom the reader may change: a stranger gets 404, a reader 403."""
    rows = Person.objects.visible_to(request.user).select_related("organisation")
    shown = get_object_or_404(rows, public_id=public_id)
    access.require_change(request.user, shown)
    return shown


urlpatterns = [
    path("register/people/", people, name="people"),
    path("register/people/add/", person_add, name="person_add"),
    path("register/people/<uuid:public_id>/", person, name="person"),
    path("register/people/<uuid:public_id>/change/", person_edit, name="person_edit"),
    path("register/people/<uuid:public_id>/allows/", preference_add, name="preference_add"),
    path("register/people/<uuid:public_id>/history/", person_history, name="person_history"),
]
