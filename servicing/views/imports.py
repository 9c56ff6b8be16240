"""Bringing in a list of past installations: file, columns, what it would do, doing it."""

from __future__ import annotations

import json
import uuid
from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import Http404, HttpResponse, JsonResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_GET, require_POST

from customers import access
from customers.access import member_required
from customers.local_days import local_today
from customers.middleware import organisation_of
from servicing import tasks
from servicing.forms.lists import ListForm, ReadingForm
from servicing.importers.sheets import SheetError
from servicing.importers.uploaded_lists import (
    bring_in_upload,
    defaults_of,
    mapping_of,
    sheet_of,
    survey_upload,
)
from servicing.importers.uploads import Upload, find_upload, keep_upload
from servicing.register_export import register_lines

if TYPE_CHECKING:
    from django.http import HttpRequest

    from servicing.importers.sheets import Sheet


@member_required
def import_list(request: HttpRequest) -> HttpResponse:
    """Take the file."""
    organisation = organisation_of(request)
    access.require(request.user, "register", organisation)
    asked = request.method == "POST"
    form = ListForm(request.POST, request.FILES) if asked else ListForm()
    if asked and form.is_valid():
        file = form.cleaned_data["file"]
        upload = keep_upload(
            organisation=organisation,
            name=file.name,
            size=file.size,
            chunks=file.chunks(),
            by=str(request.user),
            now=timezone.now(),
        )
        try:
            sheet_of(upload)
        except SheetError as error:
            upload.discard()
            form.add_error("file", str(error))
        else:
            return redirect("servicing:import_columns", upload.token)
    return render(request, "servicing/import_list.html", {"form": form})


@member_required
def import_columns(request: HttpRequest, token: uuid.UUID) -> HttpResponse:
    """Show what each column is taken for, and let it be put right."""
    upload = changeable_upload(request, token)
    if not upload.list_path.exists():
        return redirect("servicing:import_result", token)
    sheet = readable_sheet(request, upload)
    organisation = organisation_of(request)
    mapping = mapping_of(upload, sheet)
    defaults = defaults_of(upload, organisation, sheet, mapping)
    form = ReadingForm(
        request.POST or None, sheet=sheet, mapping=mapping, defaults=defaults,
        initial=dict(upload.state.answers),
    )  # fmt: skip
    if request.method == "POST" and form.is_valid():
        return read_as_answered(request, upload, form)
    context = {"form": form, "upload": upload, "sheet": sheet, "organisation": organisation}
    return render(request, "servicing/import_columns.html", context)


def readable_sheet(request: HttpRequest, upload: Upload) -> Sheet:
    """The list as answered; answers with which it cannot be read are taken back, and that is said.

    Without answers every kept list can be read: it was, when it came.
    """
    try:
        return sheet_of(upload)
    except SheetError as error:
        messages.error(request, str(error))
        upload.state.answers, upload.state.uses = {}, {}
        upload.save()
        return sheet_of(upload)


def read_as_answered(request: HttpRequest, upload: Upload, form: ReadingForm) -> HttpResponse:
    """Find out what the list would do; read as another sheet, its columns are asked for anew."""
    upload.state.answers = form.answers()
    upload.state.uses = {} if form.reads_otherwise else form.uses()
    upload.state.stage = "open" if form.reads_otherwise else "reading"
    upload.save()
    if form.reads_otherwise:
        return redirect("servicing:import_columns", upload.token)
    organisation = organisation_of(request)
    if upload.is_small:
        survey_upload(upload=upload, organisation=organisation, today=local_today(organisation))
    else:
        tasks.read_list.delay(organisation.pk, str(upload.token))
    return redirect("servicing:import_check", upload.token)


@member_required
def import_check(request: HttpRequest, token: uuid.UUID) -> HttpResponse:
    """Show what the list would do to the register before it does it."""
    upload = changeable_upload(request, token)
    if upload.state.stage == "open":
        return redirect("servicing:import_columns", token)
    if upload.state.stage in {"waiting", "writing", "forecasting", "finished"}:
        return redirect("servicing:import_result", token)
    survey = {}
    if upload.state.stage == "read":
        survey = json.loads(upload.survey_path.read_text(encoding="utf-8"))
    context = {"upload": upload, "survey": survey}
    return render(request, "servicing/import_check.html", context)


@member_required
@require_POST
def import_bring_in(request: HttpRequest, token: uuid.UUID) -> HttpResponse:
    """Bring the list in, once."""
    upload = changeable_upload(request, token)
    if upload.state.stage != "read" or not upload.claim():
        return redirect("servicing:import_check", token)
    organisation, user = organisation_of(request), request.user
    assert user.is_authenticated
    take_changes = bool(request.POST.get("take_changes"))
    upload.state.stage = "waiting"
    upload.save()
    if upload.is_small:
        bring_in_upload(
            upload=upload, organisation=organisation, by=user, take_changes=take_changes,
            today=local_today(organisation),
        )  # fmt: skip
    else:
        tasks.bring_in_list.delay(organisation.pk, str(token), user.pk, take_changes=take_changes)
    return redirect("servicing:import_result", token)


@member_required
def import_result(request: HttpRequest, token: uuid.UUID) -> HttpResponse:
    """Show how far the list has got, and in the end what became of it."""
    upload = changeable_upload(request, token)
    if upload.state.stage in {"open", "reading", "read"}:
        return redirect("servicing:import_check", token)
    return render(request, "servicing/import_result.html", {"upload": upload})


@member_required
@require_GET
def import_progress(request: HttpRequest, token: uuid.UUID) -> JsonResponse:
    """Tell how far a list has got."""
    upload = changeable_upload(request, token)
    state = upload.state
    return JsonResponse(
        {"working": upload.is_working, "rows": state.rows, "rows_behind": state.rows_behind,
         "stage": state.stage}
    )  # fmt: skip


@member_required
@require_GET
def import_refused(request: HttpRequest, token: uuid.UUID) -> HttpResponse:
    """Hand out the refused rows, to be corrected and brought in again."""
    upload = changeable_upload(request, token)
    if not upload.has_refused_rows:
        raise Http404
    return HttpResponse(
        upload.refused_path.read_bytes(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": content_disposition_header(True, upload.refused_name)},
    )


@member_required
@require_POST
def import_discard(request: HttpRequest, token: uuid.UUID) -> HttpResponse:
    """Throw a list away that is not to be brought in."""
    upload = changeable_upload(request, token)
    if not upload.is_working:
        upload.discard()
        messages.success(request, "The file is gone. Nothing was changed by it.")
    return redirect("servicing:import")


@member_required  # type: ignore[arg-type]  # a streamed answer is an answer too
@require_GET
def register_export(request: HttpRequest) -> StreamingHttpResponse:
    """Hand out the register as CSV; so many owners at once are for the office only."""
    organisation = organisation_of(request)
    access.require(request.user, "register", organisation)
    name = f"register-{organisation.slug}-{local_today(organisation):%Y-%m-%d}.csv"
    return StreamingHttpResponse(
        register_lines(organisation),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def changeable_upload(request: HttpRequest, token: uuid.UUID) -> Upload:
    """A list of the organisation worked in: 404 where there is none, 403 for a reader."""
    organisation = organisation_of(request)
    upload = find_upload(organisation, token)
    if upload is None:
        raise Http404
    access.require(request.user, "register", organisation)
    upload.give_up_stalled(now=timezone.now())
    return upload


urlpatterns = [
    path("import/", import_list, name="import"),
    path("import/<uuid:token>/", import_columns, name="import_columns"),
    path("import/<uuid:token>/check/", import_check, name="import_check"),
    path("import/<uuid:token>/bring-in/", import_bring_in, name="import_bring_in"),
    path("import/<uuid:token>/result/", import_result, name="import_result"),
    path("import/<uuid:token>/progress/", import_progress, name="import_progress"),
    path("import/<uuid:token>/refused.csv", import_refused, name="import_refused"),
    path("import/<uuid:token>/discard/", import_discard, name="import_discard"),
    path("export.csv", register_export, name="register_export"),
]
