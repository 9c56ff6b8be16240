"""Keeping photographs of a visit, and giving them to it."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import TYPE_CHECKING

from django.core.files.base import ContentFile
from django.db import transaction

from customers import access
from servicing.models import VisitPhoto
from servicing.photo_files import PhotoRefused, clean_photo

if TYPE_CHECKING:
    from customers.models import Organisation, User
    from servicing.models import System, Visit

# More than anybody takes of one visit; a telephone gone wild stops here.
MOST_OF_ONE_SHEET = 30


@transaction.atomic
def keep_photo(
    *,
    system: System,
    content: bytes,
    kind: str,
    key: uuid.UUID,
    sheet_key: uuid.UUID,
    taken_at: dt.datetime,
    by: User,
    done_by: Organisation,
) -> VisitPhoto:
    """Keep a photograph of a visit, whose sheet may follow later; the same key again is the same.

    Raises PhotoRefused for what is no photograph, PermissionDenied for who may not record visits.
    """
    access.require(by, "visit", done_by)
    before = VisitPhoto.objects.filter(key=key).first()
    if before is not None:
        return same_photo(before, system)
    if kind not in VisitPhoto.Kind.values:
        message = "Say what the photo shows."
        raise PhotoRefused(message)
    if VisitPhoto.objects.filter(sheet_key=sheet_key).count() >= MOST_OF_ONE_SHEET:
        message = f"One sheet takes at most {MOST_OF_ONE_SHEET} photos."
        raise PhotoRefused(message)
    clean = clean_photo(content)
    photo = VisitPhoto(
        organisation=system.organisation,
        system=system,
        key=key,
        sheet_key=sheet_key,
        kind=kind,
        width=clean.width,
        height=clean.height,
        taken_at=taken_at,
        taken_by=by,
        taken_for=done_by,
        visit=system.visits.filter(sheet_key=sheet_key).first(),
    )
    photo.image.save("photo.jpg", ContentFile(clean.content), save=False)
    photo.save()
    return photo


def same_photo(before: VisitPhoto, system: System) -> VisitPhoto:
    """The photograph that a repeated key stands for."""
    if before.system_id != system.pk:
        message = "This photo was sent for another system."
        raise PhotoRefused(message)
    return before


def shows_the_cover_back(system: System, sheet_key: uuid.UUID) -> bool:
    """Whether a photograph of the cover back on came with this sheet."""
    return VisitPhoto.objects.filter(
        system=system, sheet_key=sheet_key, kind=VisitPhoto.Kind.LID_BACK
    ).exists()


def give_photos(visit: Visit) -> int:
    """Give a visit just recorded the photographs that came with its sheet."""
    waiting = VisitPhoto.objects.filter(
        system_id=visit.system_id, sheet_key=visit.sheet_key, visit__isnull=True
    )
    return waiting.update(visit=visit)


def hand_on_proof(old: Visit, new: Visit) -> None:
    """Let a correction keep what proves the visit; a sheet with a proof of its own keeps that."""
    if new.signed_how:
        return
    VisitPhoto.objects.filter(visit=old).update(visit=new)
    kept = ("cautions_read_at", "no_photo_because", "signed_how", "signed_by", "signature")
    for name in kept:
        setattr(new, name, getattr(new, name) or getattr(old, name))
    new.save(update_fields=[*kept, "changed_at"])
