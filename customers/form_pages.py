"""Pages with a form on them: one look, one order of things."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.shortcuts import render

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.forms import BaseForm, BaseModelForm, BoundField
    from django.http import HttpRequest, HttpResponse

# Name of the hidden field with what the page said when it was opened.
OPENED = "opened"


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
    """What the reader changed on a valid form: names of fields with their clean values.

    Changed means against what the page showed when it was opened, not only against what is stored
    by now: a field left alone never takes back what somebody else wrote meanwhile.
    """
    changed = form.changed_data
    opened = first_texts(form)
    if opened is not None:
        changed = [name for name in changed if typed_text(form, name) != opened.get(name)]
    return {name: form.cleaned_data[name] for name in changed}


def first_texts(form: BaseForm) -> dict[str, str] | None:
    """What the page said when it was opened; None where that was not sent or is garbled."""
    try:
        opened = json.loads(form.data.get(form.add_prefix(OPENED), ""))
    except ValueError:
        return None
    return opened if isinstance(opened, dict) else None


def opened_texts(form: BaseForm) -> str:
    """What the fields of a form said when the page was first opened, as JSON for the page."""
    before = form.data.get(form.add_prefix(OPENED))
    if isinstance(before, str):
        return before
    return json.dumps(
        {name: field_text(form, name, shown_value(form[name])) for name in form.fields}
    )


def shown_value(field: BoundField) -> Any:
    """Value of a field as it is first shown."""
    return field.field.prepare_value(field.initial)


def typed_text(form: BaseForm, name: str) -> str:
    """What was sent for a field, in the same form as `field_text`."""
    widget, key = form.fields[name].widget, form.add_prefix(name)
    return field_text(form, name, widget.value_from_datadict(form.data, form.files, key))


def field_text(form: BaseForm, name: str, value: Any) -> str:
    """Value of a field as one comparable text."""
    if isinstance(value, bool):
        return str(value)
    text = form.fields[name].widget.format_value(value)
    parts = text if isinstance(text, list) else [text]
    return ",".join("" if part is None else str(part) for part in parts).replace("\r\n", "\n")
