"""Photographs of visits, for whoever may see the visit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import path
from django.utils.text import get_valid_filename
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_GET

from customers.access import member_required
from scheduler.models import Job
from servicing.models import VisitPhoto

if TYPE_CHECKING:
    import uuid


@member_required
@cache_control(private=True, max_age=3600)
@require_GET
def photo(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Show one photograph. A crew also sees those of the systems it has open jobs at."""
    sent_to = Job.objects.visible_to(request.user).open().values("system")
    seen = VisitPhoto.objects.filter(
        Q(pk__in=VisitPhoto.objects.visible_to(request.user).values("pk"))
        | Q(system__in=sent_to, visit__isnull=False)
    )
    return photo_file(get_object_or_404(seen, public_id=public_id))


def photo_file(kept: VisitPhoto) -> HttpResponse:
    """The picture, which a browser may show and do nothing else with."""
    try:
        with kept.image.open("rb") as file:
            picture = file.read()
    except FileNotFoundError as missing:
        message = "The file of this photo is missing."
        raise Http404(message) from missing
    name = f"{kept.system.reference}-{kept.taken_at:%Y-%m-%d}-{kept.kind}.jpg"
    answer = HttpResponse(picture, content_type="image/jpeg")
    answer["Content-Disposition"] = f'inline; filename="{get_valid_filename(name)}"'
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    answer["X-Content-Type-Options"] = "nosniff"
    return answer


urlpatterns = [path("photos/<uuid:public_id>/", photo, name="photo")]
