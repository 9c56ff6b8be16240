"""Rows laid by on disk, so that a list is read to its end before anything is written.

On SQLite everybody else waits while the register is written: reading does not belong in there.
"""

from __future__ import annotations

import pickle
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import IO, TYPE_CHECKING

if TYPE_CHECKING:
    from .rows import SystemRow


@contextmanager
def laid_by(rows: Iterable[SystemRow]) -> Iterator[Iterator[SystemRow]]:
    """Read rows to their end and give them again from disk, in constant memory."""
    with tempfile.TemporaryFile() as file:
        for row in rows:
            pickle.dump(row, file)
        file.seek(0)
        yield _taken_up(file)


def _taken_up(file: IO[bytes]) -> Iterator[SystemRow]:
    while file.peek(1):  # type: ignore[attr-defined]  # a temporary file is buffered
        yield pickle.load(file)  # noqa: S301 - we wrote it ourselves a moment ago
