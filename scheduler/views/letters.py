"""Letters by the batch: laid out, printed, noted as posted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from customers import access
from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from scheduler import letters, tasks
from servicing.models import LetterBatch
from servicing.views.papers import pdf_answer

if TYPE_CHECKING:
    from uuid import UUID

    from django.http import HttpRequest

BATCHES_SHOWN = 20


@member_required
@require_GET
def letter_list(request: HttpRequest) -> HttpResponse:
    """Show how many letters wait, and the batches made of earlier ones."""
    organisation = organisation_of(request)
    batches = LetterBatch.objects.visible_to(request.user).filter(organisation=organisation)
    context = {
        "waiting": letters.waiting_letters(organisation, timezone.now()).count(),
        "batches": batches.defer("content").select_related("asked_by")[:BATCHES_SHOWN],
        "may_tell": access.may(request.user, "tell", organisation),
    }
    return render(request, "scheduler/letters.html", context)


@member_required
@require_POST
def letters_gather(request: HttpRequest) -> HttpResponse:
    """Put every waiting letter into one batch and start laying it out."""
    organisation = organisation_of(request)
    try:
        batch = letters.gather_batch(
            organisation=organisation,
            by=user_of(request),
            today=local_today(organisation),
            now=timezone.now(),
        )
    except letters.NoLetters as none:
        messages.warning(request, str(none))
        return redirect("scheduler:letters")
    wake(batch)
    return redirect("scheduler:letter_batch", batch.public_id)


def wake(batch: LetterBatch) -> None:
    """Start a worker on a batch once it stands in the database."""
    transaction.on_commit(lambda: tasks.lay_out_letters.delay(batch.pk), robust=True)


def batch_of(request: HttpRequest, public_id: UUID) -> LetterBatch:
    """A batch the reader may see, without its file."""
    rows = LetterBatch.objects.visible_to(request.user).defer("content")
    return get_object_or_404(rows.select_related("organisation"), public_id=public_id)


def progress_of(batch: LetterBatch) -> dict[str, Any]:
    """What the page of a batch shows."""
    now = timezone.now()
    open_states = (LetterBatch.State.WAITING, LetterBatch.State.WORKING)
    is_open = batch.state in open_states
    return {
        "batch": batch,
        "is_open": is_open,
        "percent": round(100 * batch.done / max(1, len(batch.letters))),
        "silent": is_open and batch.changed_at <= now - letters.SILENT_AFTER,
    }


@member_required
@require_GET
def letter_batch(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Show how far a batch is, or offer its file."""
    batch = batch_of(request, public_id)
    changeable = access.may_change(request.user, batch)
    context = {**progress_of(batch), "changeable": changeable}
    return render(request, "scheduler/letter_batch.html", context)


@member_required
@require_GET
def letter_progress(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """How far a batch is; when it is done the page is asked to load afresh."""
    told = progress_of(batch_of(request, public_id))
    response = render(request, "scheduler/_letter_progress.html", told)
    if not told["is_open"]:
        response["HX-Refresh"] = "true"
    return response


@member_required
@require_GET
def letter_file(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Give the letters as one file to print."""
    rows = LetterBatch.objects.visible_to(request.user)
    batch = get_object_or_404(rows, public_id=public_id)
    if batch.content is None:
        raise Http404
    return pdf_answer(bytes(batch.content), f"letters-{batch.written_on}.pdf")


@member_required
@require_POST
def letters_posted(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Note the letters of a batch as posted."""
    batch = batch_of(request, public_id)
    count = letters.note_batch_posted(batch=batch, by=user_of(request), now=timezone.now())
    if count:
        messages.success(request, f"{count} letters are noted as posted.")
    else:
        messages.warning(request, "There was nothing to note: the batch is not ready or is posted.")
    return redirect("scheduler:letter_batch", public_id)


@member_required
@require_POST
def letters_dropped(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Throw a batch away: its letters wait again."""
    batch = batch_of(request, public_id)
    if letters.throw_away(batch=batch, by=user_of(request), now=timezone.now()):
        messages.success(request, "Thrown away. Its letters wait to be printed again.")
    return redirect("scheduler:letters")


@member_required
@require_POST
def letters_again(request: HttpRequest, public_id: UUID) -> HttpResponse:
    """Wake a worker again where none has been heard of."""
    batch = batch_of(request, public_id)
    access.require_change(user_of(request), batch)
    wake(batch)
    return redirect("scheduler:letter_batch", public_id)


urlpatterns = [
    path("messages/letters/", letter_list, name="letters"),
    path("messages/letters/gather/", letters_gather, name="letters_gather"),
    path("messages/letters/<uuid:public_id>/", letter_batch, name="letter_batch"),
    path("messages/letters/<uuid:public_id>/progress/", letter_progress, name="letter_progress"),
    path("messages/letters/<uuid:public_id>/file/", letter_file, name="letter_file"),
    path("messages/letters/<uuid:public_id>/posted/", letters_posted, name="letters_posted"),
    path("messages/letters/<uuid:public_id>/drop/", letters_dropped, name="letters_dropped"),
    path("messages/letters/<uuid:public_id>/again/", letters_again, name="letters_again"),
]
