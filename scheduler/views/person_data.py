"""What is held about a person: shown, given as a file, erased."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone, translation
from django.utils.text import slugify
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from customers import access
from customers.access import member_required
from customers.erasing import words_of
from customers.form_pages import Crumb, FormPage, form_page
from customers.languages import ENGLISH
from customers.local_days import local_today
from customers.middleware import user_of
from customers.models import Person
from scheduler.person_data import as_json, person_sections, years_in_words
from scheduler.person_erasure import ErasureRefused, erase_person, what_stays, why_not_yet

if TYPE_CHECKING:
    from uuid import UUID


class EraseForm(forms.Form):
    """Why, and that it is meant."""

    because = forms.CharField(
        label="Who asked, when and how",
        max_length=300,
        help_text="For example: by letter of 3 May. Do not write the name.",
        error_messages={"required": "Say on whose wish it is done."},
    )
    sure = forms.BooleanField(
        label="This cannot be undone",
        error_messages={"required": "Tick that you know that it cannot be undone."},
    )


@member_required
@never_cache
@require_GET
def person_data(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Show all that is held about a person, for a question of theirs."""
    person = visible_person(request, public_id)
    access.require_change(request.user, person)
    told = {
        "person": person,
        "sections": person_sections(person, local_today(person.organisation)),
        "years": years_in_words(person, local_today(person.organisation)),
        "removals": person.removals.select_related("done_by"),
        "may_erase": access.may(request.user, "manage", person.organisation),
    }
    return render(request, "scheduler/person_data.html", told)


@member_required
@never_cache
@require_GET
def person_data_file(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """The same as a file for machines."""
    person = visible_person(request, public_id)
    access.require_change(request.user, person)
    return data_file(person)


@translation.override(ENGLISH)
def data_file(person: Person) -> HttpResponse:
    """All that is held about a person as JSON; for machines, so in English whoever asks."""
    sections = person_sections(person, local_today(person.organisation))
    told = as_json(person, sections, now=timezone.now())
    answer = JsonResponse(told, json_dumps_params={"indent": 2, "ensure_ascii": False})
    name = slugify(person.name) or "person"
    answer["Content-Disposition"] = f'attachment; filename="held-about-{name}.json"'
    return answer


@member_required
def person_erase(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Erase a person's data, after saying what goes and what stays."""
    person = visible_person(request, public_id)
    access.require(request.user, "manage", person.organisation)
    today = local_today(person.organisation)
    form = EraseForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            erase_person(
                person=person,
                because=form.cleaned_data["because"],
                by=user_of(request),
                now=timezone.now(),
                today=today,
            )
        except ErasureRefused as refused:
            for reason in refused.reasons:
                form.add_error(None, reason)
        else:
            messages.success(request, "Erased. What had to stay is named below.")
            return redirect("scheduler:person_data", person.public_id)
    return erase_page(request, person, form)


def erase_page(request: HttpRequest, person: Person, form: EraseForm) -> HttpResponse:
    """The form, with what would stay and what stands against it."""
    today = local_today(person.organisation)
    back = reverse("scheduler:person_data", args=[person.public_id])
    page = FormPage(
        f"Erase the data of {person}",
        "Erase for good",
        back,
        [Crumb(person.name, back)],
        "Name, addresses, messages, calendar entries and whatever names them in notes go for good. "
        "What was measured and done at the place stays without the name.",
        grave=True,
    )
    return form_page(
        request,
        page,
        form,
        template="scheduler/person_erase.html",
        stays=what_stays(person, words_of(person), today),
        first=why_not_yet(person, today),
    )


def visible_person(request: HttpRequest, public_id: UUID) -> Person:
    """A person of the reader's organisations; 404 for a stranger."""
    rows = Person.objects.visible_to(request.user).select_related("organisation__profile")
    return get_object_or_404(rows, public_id=public_id)


urlpatterns = [
    path("register/people/<uuid:public_id>/held/", person_data, name="person_data"),
    path("register/people/<uuid:public_id>/held.json", person_data_file, name="person_data_file"),
    path("register/people/<uuid:public_id>/erase/", person_erase, name="person_erase"),
]
