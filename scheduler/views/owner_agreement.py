"""An agreement on the owner's page: read, agreed to, cancelled in time, stopped; no account."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext
from django.views.decorators.http import require_GET, require_POST

from customers.agreement_record import AgreementRefused
from customers.agreement_words import terms_of
from scheduler.aftercare import selling
from scheduler.forms.agreements import AgreeForm, CancelByOwnerForm
from scheduler.job_sheets import today_at
from scheduler.templatetags.aftercare_of import used_of_year
from scheduler.views.owner_gate import by_link, shared, token_of

if TYPE_CHECKING:
    from customers.models import Agreement, OwnerLink


@by_link
@require_GET
def owner_agreement(request: HttpRequest, link: OwnerLink, public_id: uuid.UUID) -> HttpResponse:
    """Show an agreement, or what is offered, to who pays for it."""
    return the_page(request, link, agreement_of(link, public_id))


def agreement_of(link: OwnerLink, public_id: uuid.UUID) -> Agreement:
    """An agreement that the person of the link may see; 404 for every other."""
    return get_object_or_404(selling.agreements_for(link), public_id=public_id)


def the_page(
    request: HttpRequest, link: OwnerLink, shown: Agreement, refused: AgreeForm | None = None
) -> HttpResponse:
    """The page, with the answer that came back where one did."""
    today = today_at(link.premises, timezone.now())
    terms = terms_of(shown, today=today)
    form = refused or AgreeForm(agreement=shown, has_right=terms["right"] is not None)
    is_running = shown.state == shown.State.AGREED and shown.ended_on is None
    told = {
        **terms,
        **shared(request, link),
        "form": form,
        "cancel_form": CancelByOwnerForm(),
        "may_cancel": is_running and shown.cancel_by is not None and today <= shown.cancel_by,
        "may_stop": is_running and shown.renews_itself and not hasattr(shown, "followed_by"),
        "used": used_of_year(shown, today),
        "charges": shown.charges.that_count().order_by("-charged_on", "-pk"),
    }
    status = 422 if refused else 200
    return render(request, "scheduler/owner_agreement.html", told, status=status)


@by_link
@require_POST
def owner_agree(request: HttpRequest, link: OwnerLink, public_id: uuid.UUID) -> HttpResponse:
    """Take the yes to the words that were shown."""
    shown = agreement_of(link, public_id)
    form = AgreeForm(request.POST, agreement=shown, has_right=has_right(shown))
    if form.is_valid():
        try:
            selling.agree_by_link(
                agreement=shown,
                link=link,
                name=form.cleaned_data["name"],
                seen=form.cleaned_data["seen"],
                early_start=form.cleaned_data.get("early_start", False),
                now=timezone.now(),
            )
        except ValueError as refusal:
            form.add_error(None, gettext(str(refusal)))
        else:
            messages.success(
                request, gettext("Thank you, that is agreed. We send you a copy to keep.")
            )
            return to_agreement(request, shown)
    return the_page(request, link, shown, form)


def has_right(shown: Agreement) -> bool:
    """Whether the days to cancel are to be counted."""
    today = today_at(shown.premises, timezone.now())
    return terms_of(shown, today=today)["right"] is not None


@by_link
@require_POST
def owner_decline(request: HttpRequest, link: OwnerLink, public_id: uuid.UUID) -> HttpResponse:
    """Take the no."""
    shown = agreement_of(link, public_id)
    words = "No, thank you: on the owner's page."
    selling.decline_by_link(agreement=shown, words=words, link=link, now=timezone.now())
    messages.success(request, gettext("Thank you for telling us. Nothing is agreed."))
    return redirect("scheduler:owner", token=token_of(request))


@by_link
@require_POST
def owner_cancel(request: HttpRequest, link: OwnerLink, public_id: uuid.UUID) -> HttpResponse:
    """Cancel within the days for it."""
    shown = agreement_of(link, public_id)
    words = request.POST.get("words", "")[:500]
    try:
        selling.cancel_by_link(agreement=shown, words=words, link=link, now=timezone.now())
    except AgreementRefused as refusal:
        messages.warning(request, gettext(str(refusal)))
    else:
        messages.success(request, gettext("Cancelled. We send you a confirmation."))
    return to_agreement(request, shown)


@by_link
@require_POST
def owner_stop(request: HttpRequest, link: OwnerLink, public_id: uuid.UUID) -> HttpResponse:
    """It does not renew itself."""
    shown = agreement_of(link, public_id)
    selling.stop_by_link(agreement=shown, link=link, now=timezone.now())
    day = date_format(shown.ends_on, "j F Y")
    said = gettext("It ends on %(day)s and does not renew itself.") % {"day": day}
    messages.success(request, said)
    return to_agreement(request, shown)


def to_agreement(request: HttpRequest, shown: Agreement) -> HttpResponse:
    """Back to its page, so that reloading sends nothing again."""
    return redirect("scheduler:owner_agreement", token=token_of(request), public_id=shown.public_id)


_ONE = "place/<str:token>/agreements/<uuid:public_id>/"
urlpatterns = [
    path(_ONE, owner_agreement, name="owner_agreement"),
    path(f"{_ONE}agree/", owner_agree, name="owner_agree_agreement"),
    path(f"{_ONE}decline/", owner_decline, name="owner_decline_agreement"),
    path(f"{_ONE}cancel/", owner_cancel, name="owner_cancel_agreement"),
    path(f"{_ONE}stop/", owner_stop, name="owner_stop_agreement"),
]
