"""Taking somebody's name and addresses out of every text column, history tables among them."""

from __future__ import annotations

import json
import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import models
from django.db.models.functions import Cast

from customers.models import (
    AftercarePlan,
    CountryProfile,
    Organisation,
    Person,
    ProfileRule,
    Removal,
    Suppression,
)
from customers.record_paths import own_models, rows_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

ERASED = "[erased]"
# A shorter word stands in too many others to be taken out unread.
SHORTEST = 4
# What the firm wrote of itself and of the law, and what says itself what was erased.
NOT_OF_PEOPLE: frozenset[type[models.Model]] = frozenset(
    {AftercarePlan, CountryProfile, ProfileRule, Organisation, Removal, Suppression}
)


@dataclass(frozen=True)
class Words:
    """What is looked for anywhere, what only where it stands alone, what not at all.

    A name of one word, such as Miller, stands in addresses too: it goes where it is the whole of
    a column. What another person of the firm has as well is left alone.
    """

    sought: tuple[str, ...]
    alone: tuple[str, ...] = ()
    shared: tuple[str, ...] = ()

    def pattern(self) -> re.Pattern[str]:
        """Any of the words as a whole, however it is written large or small."""
        longest_first = sorted(self.sought, key=len, reverse=True)
        anywhere = [rf"(?<!\w){re.escape(one)}(?!\w)" for one in longest_first]
        whole = [rf"\A{re.escape(one)}\Z" for one in self.alone]
        return re.compile("|".join([*anywhere, *whole]), re.IGNORECASE)


def words_of(person: Person, more: Iterable[str] = ()) -> Words:
    """Names, e-mail addresses and telephone numbers a person has or had."""
    found: dict[str, str] = {}
    for row in [person, *person.history.all()]:
        for text in (row.name, row.email, row.phone, row.phone.replace(" ", "")):
            found.setdefault(text.strip().casefold(), text.strip())
    for text in more:
        found.setdefault(text.strip().casefold(), text.strip())
    others = Person.objects.filter(organisation=person.organisation_id).exclude(pk=person.pk)
    sought: list[str] = []
    alone: list[str] = []
    shared: list[str] = []
    for text in filter(None, found.values()):
        same = others.filter(
            models.Q(name__iexact=text) | models.Q(email__iexact=text) | models.Q(phone=text)
        )
        is_one_word = text.isalpha() or len(text) < SHORTEST
        (shared if same.exists() else alone if is_one_word else sought).append(text)
    return Words(tuple(sought), tuple(alone), tuple(shared))


def erase_words(
    words: Words,
    *,
    organisation: Organisation,
    spare: Iterable[type[models.Model]],
) -> Counter[str]:
    """Replace the words in every text of an organisation; gives how many rows of what changed.

    Rows of `spare` and of other people are left alone.
    """
    changed: Counter[str] = Counter()
    if not words.sought and not words.alone:
        return changed
    left_alone = {*spare, *NOT_OF_PEOPLE, Person}
    pattern = words.pattern()
    for model in own_models():
        if model in left_alone or _instance_of(model) in left_alone:
            continue
        for row in mentioning(model, words, organisation):
            facts = _without(row, pattern)
            if facts:
                model._base_manager.filter(pk=row.pk).update(**facts)  # noqa: SLF001
                changed[str(model._meta.verbose_name_plural)] += 1  # noqa: SLF001
    return changed


def mentioning(
    model: type[models.Model], words: Words, organisation: Organisation
) -> Iterator[models.Model]:
    """Rows of an organisation in any of whose texts one of the words stands."""
    fields = text_fields(model)
    if not fields:
        return
    asked = models.Q()
    casts = {}
    for field in fields:
        name = field.name
        if isinstance(field, models.JSONField):
            name = f"{field.name}_as_text"
            casts[name] = Cast(field.name, models.TextField())
        for word in {form for one in words.sought for form in (one, json.dumps(one)[1:-1])}:
            asked |= models.Q(**{f"{name}__icontains": word})
        for word in words.alone:
            how = "icontains" if name != field.name else "iexact"
            asked |= models.Q(**{f"{name}__{how}": word})
    rows = rows_of(model, organisation).annotate(**casts).filter(asked)
    yield from rows.only("pk", *(field.name for field in fields)).iterator()


def text_fields(model: type[models.Model]) -> list[models.Field[Any, Any]]:
    """Columns in which somebody may have written a name: no choices, no addresses of our own."""
    return [
        field
        for field in model._meta.concrete_fields  # noqa: SLF001
        if isinstance(field, models.CharField | models.TextField | models.JSONField)
        and not field.choices
        and not isinstance(field, models.SlugField)
    ]


def _instance_of(model: type[models.Model]) -> type[models.Model] | None:
    """The model whose history a table holds."""
    return getattr(model, "instance_type", None)


def _without(row: models.Model, pattern: re.Pattern[str]) -> dict[str, Any]:
    """The columns of a row that change, as they read without the words."""
    facts = {}
    for field in text_fields(type(row)):
        before = getattr(row, field.attname)
        after = cleaned(before, pattern)
        if after != before:
            if isinstance(after, str) and field.max_length:
                after = after[: field.max_length]
            facts[field.name] = after
    return facts


def cleaned(value: Any, pattern: re.Pattern[str]) -> Any:
    """A text, or what JSON holds, without the words."""
    if isinstance(value, str):
        return pattern.sub(ERASED, value)
    if isinstance(value, list):
        told_list = [cleaned(one, pattern) for one in value]
        return without_signature(told_list) if told_list != value else told_list
    if isinstance(value, dict):
        told = {key: cleaned(one, pattern) for key, one in value.items()}
        # A signature beside the name that is taken out says the same as the name.
        if told != value and told.get("signature"):
            told["signature"] = ""
        return told
    return value


def without_signature(fields: list[Any]) -> list[Any]:
    """Fields of a form kept as pairs of name and value, with no stroke of a signature."""
    return [["signature", ""] if _is_signature(one) else one for one in fields]


def _is_signature(field: Any) -> bool:
    return isinstance(field, list) and len(field) == 2 and field[0] == "signature"
