"""Who changed what and when: in the whole organisation, and on one thing."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import NoReverseMatch, path, reverse
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_GET

from customers.access import member_required
from customers.form_pages import Crumb
from customers.forms.dates import DayField
from customers.middleware import organisation_of
from customers.models import Agreement, Membership, Sale
from customers.organisation_history import Asked, history_page, kinds_with_history, plural
from customers.record_history import changes_of
from scheduler.models import Appointment, Job, Round
from servicing.models import Dip, Emptying, Visit

if TYPE_CHECKING:
    from uuid import UUID

    from customers.models import Organisation
    from customers.record_history import RecordChange

# Where each kind of thing is looked at; others have no page of their own.
PAGES = {
    "premises": "customers:premises",
    "person": "customers:person",
    "system": "servicing:system",
    "job": "scheduler:job",
    "round": "scheduler:round",
    "sale": "scheduler:sale",
}
# One thing, and the parts of it whose changes are shown with it.
THINGS: dict[str, tuple[Any, tuple[tuple[Any, str], ...]]] = {
    "job": (Job, ((Appointment, "job_id"),)),
    "round": (Round, ()),
    "visit": (Visit, ((Dip, "visit_id"), (Emptying, "visit_id"))),
    "agreement": (Agreement, ()),
    "sale": (Sale, ()),
}


class AskedForm(forms.Form):
    """Narrowing of the history."""

    kind = forms.ChoiceField(required=False, label="What")
    by = forms.ChoiceField(required=False, label="By whom")
    since = DayField(required=False, label="From")
    until = DayField(required=False, label="To")

    def __init__(self, *args: Any, organisation: Organisation, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kinds = [(name, plural(model)) for name, model in kinds_with_history().items()]
        members = Membership.objects.filter(organisation=organisation).select_related("user")
        people = [(str(one.user.pk), str(one.user)) for one in members]
        for field in self.fields.values():
            is_choice = isinstance(field, forms.ChoiceField)
            field.widget.attrs["class"] = "form-select" if is_choice else "form-control"
        self.fields["kind"].choices = [("", "Everything"), *kinds]  # type: ignore[attr-defined]
        self.fields["by"].choices = [  # type: ignore[attr-defined]
            ("", "Everybody"),
            *people,
            ("nobody", "No one signed in"),
        ]


@member_required
@require_GET
def history(request: HttpRequest) -> HttpResponse:
    """The history of the organisation, newest first."""
    organisation = organisation_of(request)
    form = AskedForm(request.GET, organisation=organisation)
    wanted = form.cleaned_data if form.is_valid() else {}
    asked = Asked(
        kind=wanted.get("kind", ""),
        by=wanted.get("by", ""),
        since=wanted.get("since"),
        until=wanted.get("until"),
        before=moment_of(request.GET.get("before", "")),
    )
    page = history_page(organisation, asked)
    told = {
        "form": form,
        "changes": [(change, page_of(change)) for change in page.changes],
        "older": page.older.isoformat() if page.older else "",
    }
    return render(request, "scheduler/history.html", told)


def moment_of(text: str) -> dt.datetime | None:
    """A moment as it stands in an address; None for anything else."""
    try:
        moment = parse_datetime(text.replace(" ", "+"))
    except ValueError:
        return None
    return moment if moment is not None and moment.tzinfo is not None else None


def page_of(change: RecordChange) -> str:
    """Address of the thing that changed, or of what it is a part of; empty where there is none."""
    row = change.row
    for name, url in PAGES.items():
        is_it = row.instance_type.__name__.lower() == name
        public_id = row.public_id if is_it else public_id_of_part(row, name)
        if public_id is not None:
            try:
                return reverse(url, args=[public_id])
            except NoReverseMatch:
                return ""
    return ""


def public_id_of_part(row: Any, name: str) -> Any:
    """Id of the premises, system or job a part belongs to; None where it has no such whole."""
    whole = getattr(row, f"{name}_id", None)
    if whole is None:
        return None
    related = row._meta.get_field(name).related_model  # noqa: SLF001 - public in Django
    return related.objects.filter(pk=whole).values_list("public_id", flat=True).first()


@member_required
@require_GET
def thing_history(request: HttpRequest, kind: str, public_id: UUID) -> HttpResponse:
    """The history of one thing with its parts."""
    if kind not in THINGS:
        raise Http404
    model, parts = THINGS[kind]
    shown = get_object_or_404(model.objects.visible_to(request.user), public_id=public_id)
    histories = [part.history.filter(**{field: shown.pk}) for part, field in parts]
    changes = changes_of(
        *(rows.select_related("history_user") for rows in [shown.history.all(), *histories])
    )
    crumbs = [Crumb("History", reverse("scheduler:history")), Crumb(str(shown))]
    told = {"title": f"History: {shown}", "changes": changes, "crumbs": crumbs}
    return render(request, "includes/history_page.html", told)


urlpatterns = [
    path("organisation/changes/", history, name="history"),
    path("organisation/changes/<slug:kind>/<uuid:public_id>/", thing_history, name="thing_history"),
]
