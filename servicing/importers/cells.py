"""Single cells as text, and what counts as nothing written."""

from __future__ import annotations

import datetime as dt
import re

from .sheets import Uncalculated

# Ways of leaving a cell empty, as lists have them.
NOTHING = frozenset(
    {
        "-", "--", "—", "–", "?", "??", "n/a", "na", "n.a", "nil", "none", "unknown", "unk", "u/k",
        "tbc", "tba", "tbd", "not known", "not given", "not recorded", "no record", "don't know",
    }
)  # fmt: skip
_ERRORS = re.compile(r"^#(?:N/A|REF!|VALUE!|DIV/0!|NAME\?|NULL!|NUM!|SPILL!|CALC!)", re.IGNORECASE)
_DEFUSED = re.compile(r"^'(?=[=+\-@\t\r])")


class CellRefusedError(ValueError):
    """A cell that cannot be believed; the message is the reason, without the cell's place."""


def as_text(cell: object) -> str:
    """Return a cell as a person would read it; a formula without result or an error is refused."""
    if cell is None:
        return ""
    if isinstance(cell, Uncalculated):
        msg = (
            "the cell holds a formula whose result was not saved: open the file in a spreadsheet"
            " program, save it and bring it in again"
        )
        raise CellRefusedError(msg)
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    if isinstance(cell, dt.datetime) and cell.time() == dt.time():
        return cell.date().isoformat()
    text = " ".join(str(cell).replace("\u00a0", " ").split())
    if _ERRORS.match(text):
        msg = f"the cell holds the spreadsheet error {text}"
        raise CellRefusedError(msg)
    return _DEFUSED.sub("", text)


def is_nothing(text: str) -> bool:
    """Whether a text only says that nothing is known."""
    return text == "" or text.lower().rstrip(".") in NOTHING
