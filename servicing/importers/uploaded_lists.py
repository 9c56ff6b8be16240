"""Reading, surveying and bringing in an uploaded list as its answers say."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import logging
from typing import TYPE_CHECKING, Any

from django.utils.formats import date_format

from servicing.forecasts import refresh_forecasts
from servicing.models import System

from .columns import MappingError, correct_mapping, guess_mapping
from .files import open_sheet
from .intake import Intake, Survey, bring_in, defaults_for, fitted_to, survey
from .rows import Defaults, SystemRow
from .sheets import SheetError

if TYPE_CHECKING:
    from customers.models import Organisation, User

    from .columns import ColumnMapping
    from .sheets import Sheet
    from .uploads import Upload

logger = logging.getLogger(__name__)

ANSWERED = ("gallon", "volume_unit", "month_first", "grid", "kind")


def sheet_of(upload: Upload) -> Sheet:
    """Open the list as its answers say; raises SheetError."""
    answers = upload.state.answers
    return open_sheet(
        upload.list_path,
        name=upload.state.name,
        worksheet=answers.get("worksheet", ""),
        encoding=answers.get("encoding", ""),
    )


def mapping_of(upload: Upload, sheet: Sheet) -> ColumnMapping:
    """Return what the columns mean: as corrected, else as guessed."""
    return correct_mapping(guess_mapping(sheet), upload.state.uses)


def defaults_of(
    upload: Upload, organisation: Organisation, sheet: Sheet, mapping: ColumnMapping
) -> Defaults:
    """Return how the list is read: as answered, else as it seems and the organisation is used to."""
    defaults = fitted_to(defaults_for(organisation), sheet, mapping)
    answers = {k: v for k, v in upload.state.answers.items() if k in ANSWERED}
    return dataclasses.replace(defaults, **answers)


def intake_of(upload: Upload, organisation: Organisation, today: dt.date) -> Intake:
    """Put everything together that is needed to read the list."""
    sheet = sheet_of(upload)
    mapping = mapping_of(upload, sheet)
    return Intake(
        sheet, mapping, defaults_of(upload, organisation, sheet, mapping), organisation, today
    )


def survey_upload(*, upload: Upload, organisation: Organisation, today: dt.date) -> None:
    """Find out what the list would do, and keep that with its refused rows to be looked at."""
    state = upload.state
    try:
        found = survey(intake_of(upload, organisation, today), upload.refused_path)
    except Exception as error:
        logger.exception("A list could not be dealt with")
        note_failure(upload, error)
        return
    state.stage, state.trouble, state.rows = "read", "", found.rows
    upload.survey_path.write_text(json.dumps(told(found)), encoding="utf-8")
    upload.save()


def note_failure(upload: Upload, error: Exception) -> None:
    """Note that the list could not be dealt with, and why where the office can mend it."""
    known = isinstance(error, (SheetError, MappingError))
    upload.state.stage, upload.state.trouble = "failed", str(error) if known else ""
    upload.save()


def told(found: Survey) -> dict[str, Any]:
    """Return a survey in plain values, as its page shows it."""
    return {
        "added": found.added,
        "changed": found.changed,
        "same": found.same,
        "refused": found.refused,
        "additions": [_addition(one.row) for one in found.additions],
        "changes": [
            {
                "line": one.row.line,
                "reference": one.row.reference,
                "differences": [dataclasses.asdict(each) for each in one.differences],
            }
            for one in found.changes
        ],
        "refusals": [
            {"line": row.line, "errors": [dataclasses.asdict(error) for error in row.errors]}
            for row in found.refusals
        ],
    }


def _addition(row: SystemRow) -> dict[str, Any]:
    place = row.place
    return {
        "line": row.line,
        "reference": row.reference,
        "kind": System.Kind(str(row.system["kind"])).label,
        "place": ", ".join(
            part for part in (place.name, *place.address.split("\n"), place.postcode) if part
        ),
        "litres": row.working_volume_litres,
        "persons": row.use.persons,
        "installed_on": _spoken(row.system.get("installed_on")),
        "last_emptied_on": _spoken(row.system.get("last_emptied_on")),
        "remarks": list(row.remarks),
    }


def _spoken(day: object) -> str:
    return date_format(day, "j M Y") if isinstance(day, dt.date) else ""


def bring_in_upload(
    *, upload: Upload, organisation: Organisation, by: User, take_changes: bool, today: dt.date
) -> None:
    """Bring the list in, forecast what was added, and note how far it has got on the way.

    A second run after a broken one adds nothing twice. A failure is noted with the list.
    """
    state = upload.state

    def note(rows_behind: int) -> None:
        state.rows_behind = rows_behind
        upload.save()

    try:
        state.stage = "writing"
        note(0)
        done, refused = bring_in(
            intake_of(upload, organisation, today),
            by=by,
            take_changes=take_changes,
            refused_file=upload.refused_path,
            progress=note,
        )
        state.counts = dataclasses.asdict(done) | {"refused": refused}
        state.stage = "forecasting"
        note(done.rows + refused)
        fresh = System.objects.filter(organisation=organisation, forecast=None)
        refresh_forecasts(fresh, today=today)
    except Exception as error:
        logger.exception("A list could not be dealt with")
        note_failure(upload, error)
        upload.give_back()
        return
    state.stage = "finished"
    upload.save()
    upload.drop_list()
