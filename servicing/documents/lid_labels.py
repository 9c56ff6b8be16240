"""Labels for covers: scanned, they open what whoever scans may see."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, dataclass

from .blocks import Issuer
from .qr import qr_svg
from .typesetting import parts_of, set_in_type


@dataclass(frozen=True, kw_only=True)
class LidLabel:
    """One label. It names the system and the firm, and nobody who lives there."""

    reference: str
    what: str
    address: str


def lid_labels(labels: tuple[LidLabel, ...], *, issuer: Issuer, made_on: dt.date) -> bytes:
    """PDF of A4 sheets with labels of 90 by 50 mm to be cut out; ValueError where there is none."""
    if not labels:
        message = "There is no label to print."
        raise ValueError(message)
    told = {
        "title": f"Lid labels, {issuer.name}",
        "issuer": asdict(issuer),
        "labels": [{**asdict(one), "qr": qr_svg(one.address)} for one in labels],
        "on": parts_of(made_on),
    }
    return set_in_type("labels", told, made_on)
