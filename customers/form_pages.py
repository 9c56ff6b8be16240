"""Pages with a form on them: one look, one order of things."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.shortcuts import render

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.forms import BaseForm, BaseModelForm
    from django.http import HttpRequest, HttpResponse


@dataclass(frozen=True)
class Crumb:
    """A step on the path to a page; the last one has no address."""

    name: str
    address: str = ""


@dataclass(frozen=True)
class FormPage:
    """What stands round the form: its title, the words on its button, where Cancel leads."""

    title: str
    save: str
    back: str
    crumbs: Sequence[Crumb] = ()
    lead: str = ""
    grave: bool = False


def form_page(
    request: HttpRequest,
    page: FormPage,
    *forms: BaseForm,
    template: str = "includes/form_page.html",
    **more: Any,
) -> HttpResponse:
    """Show one or several forms that are sent together."""
    steps = [*page.crumbs, Crumb(page.title)]
    context = {"page": page, "crumbs": steps, "forms": forms, "form": None, **more}
    return render(request, template, context)


def all_valid(*forms: BaseForm) -> bool:
    """Whether every form is valid; each is looked at, so that all errors show at once."""
    wrong = [form for form in forms if not form.is_valid()]
    return not wrong


def facts_of(form: BaseModelForm[Any]) -> dict[str, Any]:
    """What the reader changed on a valid form: names of fields with their clean values."""
    return {name: form.cleaned_data[name] for name in form.changed_data}
