"""The crew's app: its worker and manifest, what it takes along, and what it delivers."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.views.decorators.cache import cache_control, never_cache
from django.views.decorators.http import require_GET, require_POST

from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of, user_of
from scheduler import crew_pack, crew_sheets
from scheduler.deliveries import Told, clock_of, sender_of, take_delivery
from scheduler.job_sheets import require_visit
from scheduler.models import Crew, Delivery, Job, Stop
from servicing.photo_files import MOST_BYTES, PhotoRefused
from servicing.photos import keep_photo

if TYPE_CHECKING:
    from customers.models import User

MOST_FIELDS = 2000


@require_GET
@cache_control(no_cache=True)
def crew_worker(_request: HttpRequest) -> HttpResponse:
    """The service worker. It holds nothing of anybody."""
    return HttpResponse(crew_pack.worker_script(), content_type="text/javascript")


@require_GET
def crew_manifest(_request: HttpRequest) -> HttpResponse:
    """What makes the crew's pages installable."""
    return JsonResponse(crew_pack.manifest(), content_type="application/manifest+json")


@require_GET
def crew_offline(request: HttpRequest) -> HttpResponse:
    """The page shown in place of one that the telephone has not got. It holds nothing of anybody."""
    return render(request, "scheduler/crew_offline.html")


@member_required
@never_cache
@require_GET
def crew_token(request: HttpRequest) -> HttpResponse:
    """A fresh token for sending, and as whom."""
    user = user_of(request)
    return JsonResponse({"token": get_token(request), "user": str(user.pk), "name": user.name})


@member_required
@never_cache
@require_GET
def crew_take(request: HttpRequest) -> HttpResponse:
    """What to take along for today and tomorrow."""
    user = user_of(request)
    day = crew_day(request)
    told = crew_pack.pack_for(user, [day, day + dt.timedelta(days=1)])
    return JsonResponse({**told, "user": str(user.pk), "version": crew_pack.shell_version()})


def crew_day(request: HttpRequest) -> dt.date:
    """The day it is where the user's crew works."""
    crews = Crew.objects.visible_to(request.user).filter(user=user_of(request), in_use=True)
    first = crews.select_related("organisation").first()
    return local_today(first.organisation if first else organisation_of(request))


@member_required
@never_cache
@require_POST
def crew_deliver(request: HttpRequest) -> HttpResponse:
    """Take one entry of the queue, and answer what became of it."""
    told = told_in(request)
    delivery = take_delivery(told=told, by=user_of(request), now=timezone.now())
    return JsonResponse(
        {
            **delivery.answer,
            "state": delivery.state,
            "recorded": bool(delivery.visit_id),
        }
    )


def told_in(request: HttpRequest) -> Told:
    """The entry in a request; BadRequest for what no telephone of ours sends."""
    try:
        said = json.loads(request.body)
        fields = [[str(name), str(value)] for name, value in said.get("fields", [])[:MOST_FIELDS]]
        sheet_key = said.get("sheetKey")
        return Told(
            key=uuid.UUID(said["key"]),
            kind=Delivery.Kind(said["kind"]),
            made_at=moment(said["madeAt"]),
            sent_at=moment(said["sentAt"]),
            job=job_told(request, said.get("job")),
            stop=stop_told(request, said.get("stop")),
            fields=fields,
            seen=dict(said.get("seen") or {}),
            sheet_key=uuid.UUID(sheet_key) if sheet_key else None,
        )
    except (ValueError, KeyError, TypeError, AttributeError) as fault:
        message = "This is no entry of the crew's app."
        raise BadRequest(message) from fault


def moment(text: str) -> dt.datetime:
    """An aware moment as ISO 8601."""
    found = parse_datetime(text)
    if found is None or found.tzinfo is None:
        raise ValueError(text)
    return found


def job_told(request: HttpRequest, public_id: str | None) -> Job | None:
    """The job, also where it was taken from the user's firm while the telephone was away."""
    if not public_id:
        return None
    jobs = Job.objects.select_related("system__premises__organisation", "organisation", "handed_to")
    job = jobs.visible_to(request.user).filter(public_id=uuid.UUID(public_id)).first()
    if job is None:
        job = crew_sheets.job_once_held(user_of(request), uuid.UUID(public_id))
    return job


def stop_told(request: HttpRequest, public_id: str | None) -> Stop | None:
    """The stop, while its round still stands and is the user's to see."""
    if not public_id:
        return None
    return (
        crew_sheets.stops_to_mark(user_of(request)).filter(public_id=uuid.UUID(public_id)).first()
    )


@member_required
@never_cache
@require_POST
def crew_note(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Take a note to the office from a page without script."""
    jobs = Job.objects.visible_to(request.user).select_related("organisation", "handed_to")
    job = get_object_or_404(jobs, public_id=public_id)
    words, now = request.POST.get("words", "").strip()[:2000], timezone.now()
    require_visit(request.user, job)
    if words:
        told = Told(
            key=uuid.uuid4(),
            kind=Delivery.Kind.NOTE,
            made_at=now,
            sent_at=now,
            job=job,
            fields=[["words", words]],
        )
        take_delivery(told=told, by=user_of(request), now=now)
        messages.success(request, "The office has the note.")
    else:
        messages.warning(request, "The note was empty.")
    return redirect("scheduler:today")


@member_required
@never_cache
@require_POST
def crew_photo(request: HttpRequest) -> HttpResponse:
    """Keep one photograph; the same key again changes nothing."""
    user = user_of(request)
    try:
        kept = photo_in(request, user)
    except PhotoRefused as refused:
        return JsonResponse({"state": "refused", "words": str(refused)}, status=422)
    return JsonResponse({"state": "taken", "photo": str(kept.public_id)})


def photo_in(request: HttpRequest, user: User) -> Any:
    """The photograph in a request, kept."""
    said, upload = request.POST, request.FILES.get("image")
    try:
        job = job_told(request, said["job"])
        key, sheet_key = uuid.UUID(said["key"]), uuid.UUID(said["sheetKey"])
        made_at, sent_at = moment(said["madeAt"]), moment(said["sentAt"])
    except (ValueError, KeyError) as fault:
        message = "This is no photo of the crew's app."
        raise BadRequest(message) from fault
    if job is None or upload is None:
        message = "The photo did not arrive with its job."
        raise BadRequest(message)
    told = Told(key=key, kind=Delivery.Kind.NOTE, made_at=made_at, sent_at=sent_at, job=job)
    return keep_photo(
        system=job.system,
        content=upload.read(MOST_BYTES + 1),
        kind=said.get("kind", ""),
        key=key,
        sheet_key=sheet_key,
        taken_at=clock_of(told, timezone.now()).moment,
        by=user,
        done_by=sender_of(told, user),
    )


urlpatterns = [
    path("sw.js", crew_worker, name="crew_worker"),
    path("manifest.webmanifest", crew_manifest, name="crew_manifest"),
    path("today/without-signal/", crew_offline, name="crew_offline"),
    path("today/token/", crew_token, name="crew_token"),
    path("today/take-along/", crew_take, name="crew_take"),
    path("today/deliver/", crew_deliver, name="crew_deliver"),
    path("jobs/<uuid:public_id>/note/", crew_note, name="crew_note"),
    path("today/photos/", crew_photo, name="crew_photo"),
]
