"""Photographs are judged by their bytes and made anew.

How files begin is from their standards: JPEG ISO/IEC 10918-1, PNG RFC 2083, WebP RFC 9649. What is
in the result is read with Pillow, by itself no part of the making's checks. Orientation 6 of Exif
(CIPA DC-008, tag 274) means that the picture is to be turned a quarter clockwise.
"""

import io
import struct
import zlib

import pytest
from PIL import Image

from servicing.photo_files import PhotoRefused, clean_photo
from tests.make import make_jpeg


def opened(content):
    return Image.open(io.BytesIO(content))


def with_place():
    """A photo that tells where and with what it was taken, lying on its side."""
    exif = Image.Exif()
    exif[274] = 6
    exif[271] = "SECRET-MAKER"
    exif.get_ifd(0x8825)[2] = (52.0, 30.0, 15.0)
    return make_jpeg(400, 200, exif=exif, comment=b"SECRET-COMMENT")


def chunk(kind, data):
    """A chunk of a PNG (RFC 2083, 3.2): length, kind, data, check."""
    check = struct.pack(">I", zlib.crc32(kind + data))
    return struct.pack(">I", len(data)) + kind + data + check


def png(width, height):
    """A PNG of a few bytes whose header promises more pixels than fit into memory."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    pixels = zlib.compress(bytes(1000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", pixels)


def test_nothing_but_the_picture_is_kept():
    content = clean_photo(with_place()).content
    assert b"SECRET" not in content
    assert not opened(content).getexif()
    assert "comment" not in opened(content).info


def test_a_photo_that_lies_on_its_side_is_put_upright():
    clean = clean_photo(with_place())
    assert (clean.width, clean.height) == opened(clean.content).size == (200, 400)


def test_a_large_photo_is_made_smaller_and_a_small_one_is_left():
    assert clean_photo(make_jpeg(4000, 3000)).width == 1600
    assert clean_photo(make_jpeg(300, 200)).width == 300


@pytest.mark.parametrize("form", ["PNG", "WEBP"])
def test_other_pictures_become_jpeg(form):
    out = io.BytesIO()
    Image.new("RGBA", (60, 40), (0, 0, 0, 0)).save(out, form)
    kept = opened(clean_photo(out.getvalue()).content)
    assert kept.format == "JPEG"
    assert min(kept.getpixel((5, 5))) > 250  # what was clear is white, not black


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "no photo"),
        (b"%PDF-1.7", "no photo"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no photo"),
        (b"GIF89a" + bytes(50), "no photo"),
        (b"\x00\x00\x00\x18ftypheic" + bytes(50), "HEIC"),
        (b"\xff\xd8\xff" + bytes(100), "damaged"),
        (make_jpeg(900, 900)[:900], "damaged"),
        (b"\xff\xd8\xff" + bytes(40 * 1024 * 1024), "40 MB"),
        (png(60_000, 60_000), "million pixels"),
        (png(9_000, 9_000), "million pixels"),
    ],
)
def test_what_cannot_be_kept_is_refused_in_plain_words(content, words):
    with pytest.raises(PhotoRefused, match=words):
        clean_photo(content)
