"""In which language somebody is written to and sees their own page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.utils import translation

if TYPE_CHECKING:
    from collections.abc import Iterator

    from customers.models import Organisation, Person

ENGLISH = "en-gb"


def known(code: str) -> str:
    """The code of a language the site speaks; English for any other."""
    return code if code in dict(settings.LANGUAGES) else ENGLISH


def language_of(person: Person | None, organisation: Organisation) -> str:
    """What a person reads: their own choice, else what their organisation writes."""
    return known((person.language if person else "") or organisation.language)


def language_choices(empty: str = "") -> list[tuple[str, str]]:
    """Languages for a form, each named in itself; with `empty` for the organisation's own."""
    return ([("", empty)] if empty else []) + [
        (code, str(name)) for code, name in settings.LANGUAGES
    ]


def each_language() -> Iterator[str]:
    """Every language the site speaks, made the present one while it is looked at."""
    for code, _ in settings.LANGUAGES:
        with translation.override(code):
            yield code
