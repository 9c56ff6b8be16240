"""Lists on their way in: kept per organisation out of the web's reach, and cleared away.

Beside each file stands what was answered about it and how far it has got. That is a file too, not
a row, so that progress can be seen while the register is being written in one transaction. Web
and worker share the folder MEDIA_ROOT.
"""

from __future__ import annotations

import datetime as dt
import json
import shutil
import uuid
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from django.conf import settings

from .sheets import check_size

if TYPE_CHECKING:
    from customers.models import Organisation

# Work that has not moved for so long was lost with its worker.
STALLED_AFTER = dt.timedelta(minutes=30)
KEPT_FOR = dt.timedelta(days=7)
# A list this small is dealt with while its page is waited for; larger ones by a worker.
SMALL_BYTES = 60_000
Stage = Literal[
    "open", "reading", "read", "waiting", "writing", "forecasting", "finished", "failed"
]
WORKING: tuple[Stage, ...] = ("reading", "waiting", "writing", "forecasting")


@dataclass(slots=True)
class UploadState:
    """What is known of a list: its name, the answers given, and how far it has got."""

    name: str
    uploaded_at: str
    by: str
    answers: dict[str, Any] = field(default_factory=dict)
    uses: dict[str, str] = field(default_factory=dict)
    stage: Stage = "open"
    rows: int = 0
    rows_behind: int = 0
    counts: dict[str, int] = field(default_factory=dict)
    trouble: str = ""


class Upload:
    """One list with its state and the file of its refused rows."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.token = uuid.UUID(folder.name)
        self.list_path = folder / "list"
        self.refused_path = folder / "refused.csv"
        self.survey_path = folder / "survey.json"
        self._state_path = folder / "state.json"
        self.state = UploadState(**json.loads(self._state_path.read_text(encoding="utf-8")))

    def save(self) -> None:
        """Write the state down so that a reader sees the old or the new, never half of it."""
        draft = self.folder / f"state.{uuid.uuid4().hex}"
        draft.write_text(json.dumps(asdict(self.state)), encoding="utf-8")
        draft.replace(self._state_path)

    def claim(self) -> bool:
        """Take the list for bringing in; only the first who asks gets it."""
        try:
            (self.folder / "claimed").touch(exist_ok=False)
        except FileExistsError:
            return False
        return True

    def give_back(self) -> None:
        """Let the list be brought in again, after the last try failed."""
        (self.folder / "claimed").unlink(missing_ok=True)

    def give_up_stalled(self, *, now: dt.datetime) -> None:
        """Mark work as failed that has not moved for half an hour, so that it can be tried again."""
        moved = dt.datetime.fromtimestamp(self._state_path.stat().st_mtime, tz=dt.UTC)
        if self.is_working and now - moved > STALLED_AFTER:
            self.state.stage = "failed"
            self.save()
            self.give_back()

    def drop_list(self) -> None:
        """Remove the list itself, once it is in the register; its refused rows stay a while."""
        self.list_path.unlink(missing_ok=True)

    def discard(self) -> None:
        """Remove everything."""
        shutil.rmtree(self.folder, ignore_errors=True)

    @property
    def refused_name(self) -> str:
        """What the file of refused rows is called when it is downloaded."""
        return f"{Path(self.state.name).stem}-refused.csv"

    @property
    def is_small(self) -> bool:
        """Whether the list is dealt with at once."""
        return self.list_path.exists() and self.list_path.stat().st_size <= SMALL_BYTES

    @property
    def is_working(self) -> bool:
        """Whether something is being done with the list now."""
        return self.state.stage in WORKING

    @property
    def has_refused_rows(self) -> bool:
        """Whether there is a file of refused rows to correct."""
        return self.refused_path.exists()


def keep_upload(
    *,
    organisation: Organisation,
    name: str,
    size: int,
    chunks: Iterable[bytes],
    by: str,
    now: dt.datetime,
) -> Upload:
    """Keep a list; raise SheetError when it is empty or too large to be one."""
    check_size(size)
    clear_away(organisation, now=now)
    folder = _folder(organisation) / str(uuid.uuid4())
    folder.mkdir(mode=0o700, parents=True)
    with (folder / "list").open("wb") as file:
        for chunk in chunks:
            file.write(chunk)
    state = UploadState(name=name[:200], uploaded_at=now.isoformat(), by=by)
    (folder / "state.json").write_text(json.dumps(asdict(state)), encoding="utf-8")
    return Upload(folder)


def find_upload(organisation: Organisation, token: uuid.UUID) -> Upload | None:
    """Return the organisation's list of this name, None when there is none."""
    folder = _folder(organisation) / str(token)
    return Upload(folder) if (folder / "state.json").exists() else None


def clear_away(organisation: Organisation, *, now: dt.datetime) -> int:
    """Remove lists older than a week; gives their number."""
    folder, cleared = _folder(organisation), 0
    for kept in list(folder.iterdir()) if folder.exists() else []:
        changed = dt.datetime.fromtimestamp(kept.stat().st_mtime, tz=dt.UTC)
        if now - changed > KEPT_FOR:
            shutil.rmtree(kept, ignore_errors=True)
            cleared += 1
    return cleared


def _folder(organisation: Organisation) -> Path:
    return Path(settings.MEDIA_ROOT) / "lists" / str(organisation.public_id)


def forget_lists(organisation: Organisation) -> tuple[int, int]:
    """Remove every list nothing is being done with; gives how many went and how many stay."""
    folder, gone, working = _folder(organisation), 0, 0
    for kept in list(folder.iterdir()) if folder.exists() else []:
        is_list = (kept / "state.json").exists()
        if is_list and Upload(kept).is_working:
            working += 1
            continue
        shutil.rmtree(kept, ignore_errors=True)
        gone += 1
    return gone, working
