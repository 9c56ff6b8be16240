"""Papers of a place: looked at, fetched, put right, and checked by anybody."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils.http import content_disposition_header
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from customers import access
from customers.access import member_required
from customers.form_pages import Crumb, FormPage, form_page
from customers.local_days import local_today
from customers.middleware import user_of
from customers.models import Agreement, Premises
from servicing import paper_drafts, papers
from servicing.forms.papers import ReasonForm
from servicing.models import Paper, System, Visit
from servicing.paper_drafts import PaperRefused
from servicing.paper_lists import STATES, found_papers

if TYPE_CHECKING:
    from django.http import HttpRequest

VISITS_OFFERED = 10
PAGE = 50


@member_required
@require_GET
def papers_at(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Show the papers of a place and offer to issue more."""
    place = place_of(request, public_id)
    today = local_today(place.organisation)
    recorded = Paper.objects.standing().filter(kind=Paper.Kind.SERVICE_RECORD)
    visits = Visit.objects.that_count().filter(system__premises=place)
    without = visits.exclude(papers__in=recorded).select_related("system", "emptying")
    shown = {
        "premises": place,
        "organisation": place.organisation,
        "papers": Paper.objects.visible_to(request.user).listed().filter(premises=place),
        "systems": System.objects.in_use().filter(premises=place),
        "agreements": Agreement.objects.filter(premises=place).current(today),
        "visits": without[:VISITS_OFFERED],
        "may_register": access.may(request.user, "register", place.organisation),
        "may_visit": access.may(request.user, "visit", place.organisation),
        "crumbs": [*step(place), Crumb("Papers")],
    }
    return render(request, "servicing/papers.html", shown)


@member_required
@require_GET
def paper_list(request: HttpRequest) -> HttpResponse:
    """Search the papers of every place the reader may see."""
    rows = Paper.objects.visible_to(request.user).listed()
    found = found_papers(rows, request.GET.dict())
    shown = {
        "page": Paginator(found, PAGE).get_page(request.GET.get("page")),
        "asked": request.GET.dict(),
        "narrowed": any(value for key, value in request.GET.items() if key != "page"),
        "kinds": Paper.Kind.choices,
        "states": STATES.items(),
        "place": "register",
    }
    return render(request, "servicing/paper_list.html", shown)


def place_of(request: HttpRequest, public_id: uuid.UUID) -> Premises:
    """A place the reader may see."""
    rows = Premises.objects.visible_to(request.user).select_related("organisation__profile")
    return get_object_or_404(rows, public_id=public_id)


def step(place: Premises, papers_too: bool = False) -> list[Crumb]:
    """Path to a place, or to its papers."""
    steps = [
        Crumb("Premises", reverse("customers:premises_list")),
        Crumb(str(place), reverse("customers:premises", args=[place.public_id])),
    ]
    if papers_too:
        steps.append(Crumb("Papers", reverse("servicing:papers", args=[place.public_id])))
    return steps


def paper_of(request: HttpRequest, public_id: uuid.UUID) -> Paper:
    """A paper the reader may see, without its file."""
    rows = Paper.objects.visible_to(request.user).listed()
    return get_object_or_404(rows.select_related("visit", "agreement"), public_id=public_id)


@member_required
@require_GET
def paper(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Show what became of a paper."""
    shown = paper_of(request, public_id)
    place = Premises.objects.visible_to(request.user).filter(papers=shown).first()
    context = {
        "paper": shown,
        "later": getattr(shown, "replaced_by", None),
        "check_at": papers.check_address(shown.token),
        "may_issue": shown.kind not in Paper.OF_THE_CREW
        and papers.may_issue(request.user, shown.kind, shown.organisation),
        "crumbs": [*(step(place, papers_too=True) if place else ()), Crumb(shown.number)],
    }
    return render(request, "servicing/paper.html", context)


@member_required
@require_GET
def paper_file(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Give the very file that was issued."""
    return file_of(get_object_or_404(Paper.objects.visible_to(request.user), public_id=public_id))


def file_of(found: Paper) -> HttpResponse:
    """The file of a paper as an answer."""
    name = f"{found.kind.replace('_', '-')}-{found.number}.pdf"
    return pdf_answer(bytes(found.content), name)


def pdf_answer(content: bytes, name: str) -> HttpResponse:
    """A PDF to be saved under a name."""
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = content_disposition_header(True, name)
    response["Cache-Control"] = "private, no-store"
    return response


@member_required
def paper_again(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Ask what was wrong and issue a new paper that names the old."""
    old = paper_of(request, public_id)
    papers.require_issue(request.user, old.kind, old.organisation)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        today = local_today(old.organisation)
        try:
            new = papers.issue_again(
                paper=old,
                draft=paper_drafts.same_again(paper=old, today=today),
                because=form.cleaned_data["because"],
                organisation=old.organisation,
                by=user_of(request),
                today=today,
            )
        except PaperRefused as refused:
            form.add_error(None, " ".join(refused.reasons))
        else:
            return redirect("servicing:paper", new.public_id)
    back = reverse("servicing:paper", args=[old.public_id])
    lead = "Put right first what is written down. The old paper stays and is shown as replaced."
    return form_page(request, FormPage(f"Issue {old} anew", "Issue anew", back, (), lead), form)


@never_cache
@require_GET
def paper_check(request: HttpRequest, token: str) -> HttpResponse:
    """Tell anybody who holds a paper whether it stands: no name, no place."""
    found = Paper.objects.filter(token=token).defer("content", "facts").first()
    told = {"paper": found, "later": getattr(found, "replaced_by", None)}
    response = render(
        request, "servicing/paper_check.html", told, status=200 if found is not None else 404
    )
    response["X-Robots-Tag"] = "noindex, nofollow"
    return response


urlpatterns = [
    path("papers/", paper_list, name="paper_list"),
    path("premises/<uuid:public_id>/papers/", papers_at, name="papers"),
    path("papers/<uuid:public_id>/", paper, name="paper"),
    path("papers/<uuid:public_id>/file/", paper_file, name="paper_file"),
    path("papers/<uuid:public_id>/anew/", paper_again, name="paper_again"),
    path("check/<str:token>/", paper_check, name="paper_check"),
]
