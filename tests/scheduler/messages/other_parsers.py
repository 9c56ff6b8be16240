"""Three calendar parsers that are not the one we write with: vobject, libical and ical.js.

Each gives (UID, SEQUENCE, start, end) of every event, instants as seconds since 1970.
"""

from __future__ import annotations

import ctypes
import json
import os
import shutil
import subprocess
from typing import Any, NoReturn

import pytest

Found = list[tuple[str, int, int, int]]
NODE = """
const ICAL = require("ical.js").default || require("ical.js");
const text = require("fs").readFileSync(0, "utf8");
const root = new ICAL.Component(ICAL.parse(text));
for (const zone of root.getAllSubcomponents("vtimezone")) ICAL.TimezoneService.register(zone);
console.log(JSON.stringify(root.getAllSubcomponents("vevent").map((one) => {
  const event = new ICAL.Event(one);
  const [start, end] = [event.startDate, event.endDate].map((at) => at.toUnixTime());
  return [event.uid, event.sequence, start, end];
})));
"""


def absent(reason: str) -> NoReturn:
    """Skip where a parser is not installed; `.ci/run` installs them all, so there it is a fault."""
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason)


def read_with_vobject(content: bytes) -> Found:
    try:
        import vobject  # noqa: PLC0415
    except ImportError:
        absent("vobject is not installed")
    calendar = vobject.readOne(content.decode())
    return [
        (
            event.uid.value,
            int(event.sequence.value),
            round(event.dtstart.value.timestamp()),
            round(event.dtend.value.timestamp()),
        )
        for event in calendar.vevent_list
    ]


class Time(ctypes.Structure):
    """`struct icaltimetype` of libical 3."""

    _fields_ = [
        *((name, ctypes.c_int) for name in ("year", "month", "day", "hour", "minute", "second")),
        ("is_date", ctypes.c_int),
        ("is_daylight", ctypes.c_int),
        ("zone", ctypes.c_void_p),
    ]


def libical() -> Any:
    try:
        library = ctypes.CDLL("libical.so.3")
    except OSError:
        absent("libical 3 is not installed")
    pointer, number, words = ctypes.c_void_p, ctypes.c_int, ctypes.c_char_p
    signatures = {
        "icalparser_parse_string": (pointer, [words]),
        "icalcomponent_get_first_component": (pointer, [pointer, number]),
        "icalcomponent_get_next_component": (pointer, [pointer, number]),
        "icalcomponent_string_to_kind": (number, [words]),
        "icalcomponent_get_uid": (words, [pointer]),
        "icalcomponent_get_sequence": (number, [pointer]),
        "icalcomponent_get_dtstart": (Time, [pointer]),
        "icalcomponent_get_dtend": (Time, [pointer]),
        "icaltime_as_timet_with_zone": (ctypes.c_long, [Time, pointer]),
        "icalcomponent_free": (None, [pointer]),
    }
    for name, (result, arguments) in signatures.items():
        getattr(library, name).restype = result
        getattr(library, name).argtypes = arguments
    return library


def read_with_libical(content: bytes) -> Found:
    library = libical()
    root = library.icalparser_parse_string(content)
    assert root, "libical cannot read it"
    kind = library.icalcomponent_string_to_kind(b"VEVENT")
    found: Found = []
    event = library.icalcomponent_get_first_component(root, kind)
    while event:
        times = (library.icalcomponent_get_dtstart(event), library.icalcomponent_get_dtend(event))
        start, end = (library.icaltime_as_timet_with_zone(at, at.zone) for at in times)
        uid = library.icalcomponent_get_uid(event).decode()
        found.append((uid, library.icalcomponent_get_sequence(event), start, end))
        event = library.icalcomponent_get_next_component(root, kind)
    library.icalcomponent_free(root)
    return found


def read_with_ical_js(content: bytes) -> Found:
    node = shutil.which("node")
    if node is None:
        absent("node is not installed")
    done = subprocess.run([node, "-e", NODE], input=content, capture_output=True, check=False)
    if b"Cannot find module 'ical.js'" in done.stderr:
        absent("ical.js is not on NODE_PATH")
    assert done.returncode == 0, done.stderr.decode()
    return [(uid, sequence, start, end) for uid, sequence, start, end in json.loads(done.stdout)]


READERS = {
    "vobject": read_with_vobject,
    "libical": read_with_libical,
    "ical.js": read_with_ical_js,
}
