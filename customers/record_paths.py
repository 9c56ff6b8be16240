"""How a row of any model is led back to the organisation it belongs to."""

from __future__ import annotations

from collections import deque
from functools import cache
from typing import TYPE_CHECKING, Any

from django.apps import apps
from django.db import models

from customers.models import Organisation, User

if TYPE_CHECKING:
    from collections.abc import Iterator

OURS = ("customers", "servicing", "scheduler")
FURTHEST = 4


def own_models() -> Iterator[type[models.Model]]:
    """Every model of the site's own apps, those that hold history among them."""
    for label in OURS:
        yield from apps.get_app_config(label).get_models()


@cache
def path_to_organisation(model: type[models.Model]) -> str | None:
    """Lookup from a row to its organisation, `visit__organisation` for one; None without a way."""
    seen, ways = {model}, deque([("", model)])
    while ways:
        way, here = ways.popleft()
        for field in sorted(foreign_keys(here), key=lambda one: one.name != "organisation"):
            related = field.related_model
            there = f"{way}__{field.name}" if way else field.name
            if related is Organisation and field.name in ("organisation", "instance"):
                return there
            if related not in seen and there.count("__") < FURTHEST:
                seen.add(related)
                ways.append((there, related))
    return None


def foreign_keys(model: type[models.Model]) -> list[models.ForeignKey[Any, Any]]:
    """Fields that point at rows of ours, the person who wrote it left out."""
    return [
        field
        for field in model._meta.concrete_fields  # noqa: SLF001 - public in Django
        if isinstance(field, models.ForeignKey)
        and (related := field.related_model)._meta.app_label in OURS  # noqa: SLF001
        and related is not User
    ]


@cache
def paths_to_organisation(model: type[models.Model]) -> tuple[str, ...]:
    """The way of the row itself, and those of what it is about: a job handed over has two."""
    own = path_to_organisation(model)
    found = [own] if own else []
    for field in foreign_keys(model):
        related = field.related_model
        further = path_to_organisation(related)
        if further and (way := f"{field.name}__{further}") not in found:
            found.append(way)
    return tuple(found)


def rows_of(model: type[models.Model], organisation: Organisation) -> models.QuerySet[Any]:
    """Rows of a model that belong to an organisation or are about what belongs to it."""
    ways = [models.Q(**{way: organisation}) for way in paths_to_organisation(model)]
    if not ways:
        return model._base_manager.none()  # noqa: SLF001 - public in Django
    asked = models.Q()
    for way in ways:
        asked |= way
    keys = model._base_manager.filter(asked).values("pk")  # noqa: SLF001
    return model._base_manager.filter(pk__in=keys)  # noqa: SLF001
