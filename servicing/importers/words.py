"""The trade's words for kinds of system, ways out, uses and yes or no, as lists write them."""

from __future__ import annotations

import re
from collections.abc import Mapping

from .cells import CellRefusedError, as_text

# Patterns in the order they are tried; values are those of servicing.models.System.Kind.
KINDS: dict[str, str] = {
    r"grease|\bfat trap": "grease_trap",
    r"cess\s*-?\s*(?:pool|pit)|\bcess\b|holding tank|sealed tank": "cesspool",
    r"plant\b|\bstp\b|\bptp\b|\bwwtp\b|\bbwtp\b|treatment|aerat|biological|\bdisc\b": "package_plant",
    r"septic|\bst\b|settle?ment tank": "septic_tank",
    r"chamber|man\s?hole|\bic\b|\bmh\b|inspection": "chamber",
    r"soak\s*-?\s*away|drainage field|leach": "soakaway",
}
DISCHARGES: dict[str, str] = {
    r"drain\w*\s*field|field\s*drain|mound|infiltrat|percolation|leach|herring": "drainage_field",
    r"soak|\bground\b|pit\b": "soakaway",
    r"ditch|stream|river|brook|burn\b|water\s*course|\bbeck\b|surface|lake|sea\b|tidal|outfall":
        "watercourse",
    r"sewer|\bmains?\b": "sewer",
    r"\bfield\b": "drainage_field",
    r"^none|^no\b|^nil|sealed|^n/?a$": "none",
}  # fmt: skip
USES: dict[str, str] = {
    r"holiday|\blet\b|cottage let|short stay|glamping": "holiday_let",
    r"hotel|guest|b\s?&\s?b|bed and breakfast|hostel": "hotel",
    r"school|nursery|college": "school",
    r"pub\b|bar\b|\binn\b|public house": "bar",
    r"restaurant|caf[eé]|kitchen|tea room": "restaurant",
    r"hall|church|chapel|theatre": "seats",
    r"toilet|\bwc\b|public convenience": "public_wc",
    r"office|surgery|shop": "office",
    r"factory|works|workshop|depot|warehouse": "factory",
    r"house|home|dwelling|residen|domestic|bungalow|cottage|flat|farm|private|barn": "residence",
}
_YES = frozenset({"y", "yes", "true", "1", "x", "✓", "✔", "with"})
_NO = frozenset({"n", "no", "false", "0", "none", "without", "-"})


def read_word(cell: object, patterns: Mapping[str, str], what: str) -> str:
    """Return the value of the first pattern found in the cell; refuse a word that none knows."""
    known = ", ".join(sorted({value.replace("_", " ") for value in patterns.values()}))
    text = as_text(cell)
    if found := find_word(text, patterns):
        return found
    msg = f"“{text}” is not a {what} known here ({known})"
    raise CellRefusedError(msg)


def find_word(text: str, patterns: Mapping[str, str]) -> str:
    """Return the value of the first pattern found in the text, "" when none is."""
    lowered = text.lower().replace("_", " ")
    for pattern, value in patterns.items():
        if re.search(pattern, lowered):
            return value
    return ""


def read_yes_or_no(cell: object) -> bool:
    """Return yes or no from the usual marks; refuse anything else."""
    text = as_text(cell).lower()
    if text in _YES:
        return True
    if text in _NO:
        return False
    msg = f"“{text}” is neither yes nor no"
    raise CellRefusedError(msg)
