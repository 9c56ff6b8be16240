"""Photographs that come in with the sheet itself, from a page without script."""

from __future__ import annotations

import datetime as dt
import hashlib
import uuid
from typing import TYPE_CHECKING, Any

from scheduler.forms.sheet_proof import PHOTO_FIELDS
from scheduler.job_sheets import require_visit
from servicing.photo_files import MOST_BYTES, PhotoRefused
from servicing.photos import keep_photo

if TYPE_CHECKING:
    from django.core.files.uploadedfile import UploadedFile

    from customers.models import User
    from scheduler.forms.sheet_parts import AbandonSheet, JobSheet


def keep_sheet_photos(sheet: JobSheet | AbandonSheet, *, by: User, now: dt.datetime) -> bool:
    """Keep what was attached; whether all of it could be. What could not says why at its field."""
    told = sheet.visit.cleaned_data
    kept = True
    for field, kind in PHOTO_FIELDS.items():
        upload: UploadedFile[Any] | None = told.get(field)
        if upload is None:
            continue
        content = upload.read(MOST_BYTES + 1)
        try:
            keep_photo(
                system=sheet.job.system,
                content=content,
                kind=kind,
                key=key_of(told["sheet_key"], kind, content),
                sheet_key=told["sheet_key"],
                taken_at=now,
                by=by,
                done_by=require_visit(by, sheet.job),
            )
        except PhotoRefused as refused:
            sheet.visit.add_error(field, str(refused))
            kept = False
    return kept


def key_of(sheet_key: uuid.UUID, kind: str, content: bytes) -> uuid.UUID:
    """A key that the same photograph of the same sheet gets again."""
    return uuid.uuid5(sheet_key, kind + hashlib.sha256(content).hexdigest())
