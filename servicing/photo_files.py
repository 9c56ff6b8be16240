"""A photograph as it was sent, judged by its bytes and made anew without what it told on the side."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass

from PIL import Image, ImageOps, UnidentifiedImageError

# Limits are our own. Phones make photos of 3 to 12 MB; the crew's app sends about 0.3 MB.
MOST_BYTES = 20 * 1024 * 1024
MOST_PIXELS = 60_000_000
TOO_MANY_PIXELS = (
    f"This photo has more than {MOST_PIXELS // 1_000_000} million pixels. Set the camera to fewer."
)
LONGEST_SIDE = 1600
QUALITY = 82

# How files of these kinds begin: JPEG (ISO/IEC 10918-1, SOI and a marker), PNG (RFC 2083, 3.1),
# WebP (RFC 9649, 2.4: RIFF, four bytes of length, WEBP).
JPEG, PNG, RIFF, WEBP = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF", b"WEBP"
# ISO base media files name their brand after `ftyp` (ISO/IEC 14496-12, 4.3).
HEIC_BRANDS = {b"heic", b"heix", b"hevc", b"mif1", b"msf1", b"avif"}


class PhotoRefused(ValueError):
    """What was sent cannot be kept as a photograph; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class CleanPhoto:
    """A JPEG of our own making, upright, with nothing in it but the picture."""

    content: bytes
    width: int
    height: int


def clean_photo(content: bytes) -> CleanPhoto:
    """Make the photograph anew: upright, at most 1600 px long, without any metadata.

    Raises PhotoRefused for what is too large, is no photograph, or unpacks to a monstrous one.
    """
    if len(content) > MOST_BYTES:
        size = len(content) / 1024 / 1024
        message = (
            f"This photo has {size:.0f} MB; at most {MOST_BYTES // 1024 // 1024} MB are taken."
        )
        raise PhotoRefused(message)
    refuse_what_is_no_photo(content)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=("JPEG", "PNG", "WEBP")) as opened:
                refuse_what_is_too_large(opened)
                return made_anew(opened)
    except Image.DecompressionBombError as fault:
        raise PhotoRefused(TOO_MANY_PIXELS) from fault
    except (UnidentifiedImageError, OSError, SyntaxError) as fault:
        message = "This photo is damaged or cut short. Take it again."
        raise PhotoRefused(message) from fault


def refuse_what_is_no_photo(content: bytes) -> None:
    """Judge by the first bytes, never by the name."""
    start = content[:16]
    if start[4:8] == b"ftyp" and start[8:12] in HEIC_BRANDS:
        message = "This kind of photo (HEIC) cannot be read here. Set the camera to JPEG, or send it from the crew's page, which turns it into one."
        raise PhotoRefused(message)
    if start.startswith((JPEG, PNG)) or (start[:4] == RIFF and start[8:12] == WEBP):
        return
    message = "This file is no photo. Take a photo, or choose a JPEG, PNG or WebP file."
    raise PhotoRefused(message)


def refuse_what_is_too_large(opened: Image.Image) -> None:
    """Judge by the size that the header names, before a pixel is unpacked."""
    if opened.width * opened.height > MOST_PIXELS:
        raise PhotoRefused(TOO_MANY_PIXELS)


def made_anew(opened: Image.Image) -> CleanPhoto:
    """Draw the pixels on a fresh sheet, so that nothing else of the file can come along."""
    opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
    upright = ImageOps.exif_transpose(opened)
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    seen = upright.convert("RGBA")
    sheet = Image.new("RGB", seen.size, "white")
    sheet.paste(seen, mask=seen.getchannel("A"))
    out = io.BytesIO()
    sheet.save(out, "JPEG", quality=QUALITY, optimize=True, progressive=True)
    return CleanPhoto(out.getvalue(), sheet.width, sheet.height)
