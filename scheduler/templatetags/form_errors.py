"""What is wrong with a form, gathered for the top of the page; and what it said when opened."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django import template
from django.utils.html import format_html

from customers.form_pages import OPENED, opened_texts

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from django.forms import BaseForm
    from django.utils.safestring import SafeString

register = template.Library()


@dataclass(frozen=True)
class ErrorLine:
    """One thing to put right, and the field it is about."""

    text: str
    label: str = ""
    field_id: str = ""


@register.simple_tag
def form_error_lines(
    form: BaseForm | None = None, forms: Iterable[BaseForm] | None = None
) -> list[ErrorLine]:
    """Errors of one form, or of several in the order of the page."""
    every = [one for one in (form, *(forms or ())) if one]
    return [line for one in every for line in lines_of(one)]


def lines_of(form: BaseForm) -> Iterator[ErrorLine]:
    """Errors of the whole form first, then field by field."""
    for text in form.non_field_errors():
        yield ErrorLine(text=str(text))
    for field in form:
        target = field.id_for_label or f"div_{field.auto_id}"
        for text in field.errors:
            yield ErrorLine(text=str(text), label=str(field.label), field_id=target)


@register.simple_tag
def opened(form: BaseForm) -> SafeString:
    """Hidden field that lets `facts_of` tell what the reader changed from what others did."""
    return format_html(
        '<input type="hidden" name="{}" value="{}">', form.add_prefix(OPENED), opened_texts(form)
    )
