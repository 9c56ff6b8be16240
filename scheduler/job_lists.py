"""The list of open work, narrowed by what the office asks for."""

from __future__ import annotations

import datetime as dt
from itertools import groupby
from typing import TYPE_CHECKING, Any

import django_filters
from django import forms
from django.db.models import Count, Q

from scheduler.models import Job

if TYPE_CHECKING:
    from collections.abc import Iterable

    from scheduler.models.jobs import JobQuerySet

SPANS = [("overdue", "Overdue"), ("14", "In 14 days"), ("30", "In 30 days"), ("90", "In 90 days")]
URGENCIES = (
    (-90, "Overdue by more than three months"),
    (-1, "Overdue"),
    (7, "Due within a week"),
    (30, "Due within a month"),
    (90, "Due within three months"),
    (100_000, "Later"),
)
STATES = [("open", "Open"), *Job.State.choices]


def counts_by_span(jobs: JobQuerySet, today: dt.date) -> list[tuple[str, str, int]]:
    """Each span one can narrow the list to, its name, and how many open jobs it holds."""
    counts = jobs.open().aggregate(
        **{f"in_{key}": Count("pk", filter=Q(due_on__lte=last)) for key, last in _ends(today)}
    )
    return [(key, name, counts[f"in_{key}"]) for key, name in SPANS]


def _ends(today: dt.date) -> list[tuple[str, dt.date]]:
    """The last day of each span."""
    days = [(key, -1 if key == "overdue" else int(key)) for key, _ in SPANS]
    return [(key, today + dt.timedelta(days=count)) for key, count in days]


def by_urgency(jobs: Iterable[Job], today: dt.date) -> list[tuple[str, list[Job]]]:
    """Jobs in their order, cut where they become less pressing, with words for each piece."""
    pieces = groupby(jobs, key=lambda job: _how_urgent(job, today))
    return [(words, list(piece)) for words, piece in pieces]


def _how_urgent(job: Job, today: dt.date) -> str:
    if job.urgent:
        return "Urgent"
    days = (job.due_on - today).days
    return next(words for most, words in URGENCIES if days <= most)


class JobFilter(django_filters.FilterSet):
    """Search by name, postcode or reference; by kind, state, when, and who drives."""

    q = django_filters.CharFilter(method="search", label="Name, postcode or reference")
    kind = django_filters.ChoiceFilter(
        choices=Job.Kind.choices, label="Work", empty_label="Every kind"
    )
    state = django_filters.ChoiceFilter(
        method="in_state", choices=STATES, label="State", empty_label=None
    )
    span = django_filters.ChoiceFilter(
        method="in_span", choices=SPANS, label="Due", empty_label="Any time"
    )

    class Meta:
        model = Job
        fields = ("q", "kind", "state", "span")

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        """Take the local day that the spans count from."""
        self.today = today
        super().__init__(*args, **kwargs)
        for field in self.form.fields.values():
            style = "form-select" if isinstance(field, forms.ChoiceField) else "form-control"
            field.widget.attrs["class"] = style

    def search(self, jobs: JobQuerySet, name: str, value: str) -> JobQuerySet:
        """Every word must be found."""
        for word in value.lower().split():
            squeezed = Q(system__search_text__contains=word)
            jobs = jobs.filter(squeezed)
        return jobs

    def in_state(self, jobs: JobQuerySet, name: str, value: str) -> JobQuerySet:
        """One state, or all that are still to be done."""
        return jobs.open() if value == "open" else jobs.filter(state=value)

    def in_span(self, jobs: JobQuerySet, name: str, value: str) -> JobQuerySet:
        """Due within a span from today."""
        if value == "overdue":
            return jobs.filter(due_on__lt=self.today)
        return jobs.filter(due_on__lte=self.today + dt.timedelta(days=int(value)))
