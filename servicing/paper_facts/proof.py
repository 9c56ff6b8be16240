"""What proves a visit on paper: who signed, and the photographs that are kept."""

from __future__ import annotations

import base64
import hashlib
import io
from typing import TYPE_CHECKING

from PIL import Image

from customers.local_days import zone_at
from servicing.documents import Drawing
from servicing.documents.blocks import day_words
from servicing.models import Visit, VisitPhoto

if TYPE_CHECKING:
    import datetime as dt

# Enough for print at the size at which the paper shows it (about 200 dots to the inch).
LONGEST_ON_PAPER = 800
QUALITY = 85
HOW = {Visit.Signed.DRAWN: "on the screen", Visit.Signed.TYPED: "by typing the name"}


def signed_words(visit: Visit) -> str:
    """Who signed, how and on which day; empty where nobody was asked."""
    if not visit.signed_how:
        return ""
    day = day_words(visit.visited_on)
    if visit.signed_how == Visit.Signed.NOBODY:
        return f"by nobody: nobody was at home on {day}"
    name = visit.signed_by or "somebody who gave no name"
    return f"by {name}, {HOW[Visit.Signed(visit.signed_how)]}, on {day}"


def photos_words(visit: Visit) -> str:
    """How many photographs are kept, of which day, and whether the cover back on is one."""
    photos = list(visit.photos.all())
    if not photos:
        return f"none: {visit.no_photo_because}" if visit.no_photo_because else ""
    days = sorted({day_taken(photo) for photo in photos})
    count = "1 photograph" if len(photos) == 1 else f"{len(photos)} photographs"
    said = f"{count} kept, taken on {' and '.join(day_words(day) for day in days)}"
    if any(photo.kind == VisitPhoto.Kind.LID_BACK for photo in photos):
        return f"{said}; the cover back on is shown"
    why = f": {visit.no_photo_because}" if visit.no_photo_because else ""
    return f"{said}; none of the cover back on{why}"


def day_taken(photo: VisitPhoto) -> dt.date:
    """The day it was taken, on the clock of the place."""
    return photo.taken_at.astimezone(zone_at(photo.system.premises)).date()


def cover_photo(visit: Visit) -> tuple[Drawing | None, str]:
    """The last photograph of the cover back on, for paper, and the SHA-256 of the file kept.

    The digest lets somebody show later that the photograph is the one the paper was made from.
    """
    photo = visit.photos.filter(kind=VisitPhoto.Kind.LID_BACK).last()
    if photo is None:
        return None, ""
    try:
        with photo.image.open("rb") as file:
            content = file.read()
    except FileNotFoundError:
        return None, ""
    alt = f"Photograph of {day_words(day_taken(photo))}: the cover back on"
    return Drawing(svg=as_svg(content), alt=alt), hashlib.sha256(content).hexdigest()


def as_svg(content: bytes) -> str:
    """A photograph, made smaller, as the one thing in an SVG: the layout draws only those."""
    picture = Image.open(io.BytesIO(content)).convert("RGB")
    picture.thumbnail((LONGEST_ON_PAPER, LONGEST_ON_PAPER))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=QUALITY)
    data = base64.b64encode(out.getvalue()).decode()
    size = f'width="{picture.width}" height="{picture.height}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} '
        f'viewBox="0 0 {picture.width} {picture.height}">'
        f'<image {size} href="data:image/jpeg;base64,{data}"/></svg>'
    )
