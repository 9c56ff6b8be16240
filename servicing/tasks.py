"""Celery tasks of the register."""

from __future__ import annotations

import uuid

from celery import shared_task

from customers.local_days import local_today
from customers.models import Organisation, User
from servicing.importers.uploaded_lists import bring_in_upload, survey_upload
from servicing.importers.uploads import find_upload


@shared_task
def read_list(organisation_id: int, token: str) -> None:
    """Find out what an uploaded list would do; nothing happens where it is gone."""
    organisation = Organisation.objects.get(pk=organisation_id)
    upload = find_upload(organisation, uuid.UUID(token))
    if upload is not None:
        survey_upload(upload=upload, organisation=organisation, today=local_today(organisation))


@shared_task
def bring_in_list(organisation_id: int, token: str, user_id: int, *, take_changes: bool) -> None:
    """Bring an uploaded list into the register; nothing happens where it is gone or finished."""
    organisation = Organisation.objects.get(pk=organisation_id)
    upload = find_upload(organisation, uuid.UUID(token))
    if upload is None or upload.state.stage == "finished":
        return
    bring_in_upload(
        upload=upload,
        organisation=organisation,
        by=User.objects.get(pk=user_id),
        take_changes=take_changes,
        today=local_today(organisation),
    )
