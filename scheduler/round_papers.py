"""A round to take along: the run sheet as PDF, a calendar entry, and the route for a map.

None of these holds a gate code: files get copied and passed on.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as Xml

from django.conf import settings
from django.utils.formats import date_format

from customers.models import Person
from scheduler.calendar_invites.objects import feed
from scheduler.messages.feeds import round_entry
from scheduler.models import Stop
from servicing import documents
from servicing.models import Paper
from servicing.paper_drafts import Draft, PaperRefused
from servicing.papers import issue
from servicing.volumes import spoken

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator

    from customers.models import Premises, User
    from scheduler.models import Job, Round
    from scheduler.round_sheets import Line, Sheet

GPX = "http://www.topografix.com/GPX/1/1"
PROPOSED = "It is only proposed: owners have not been told of these times."
CALLED_OFF = "It was called off: owners have been told that nobody comes."


Contacts = Mapping[int, Person]


def run_sheet_facts(sheet: Sheet, contacts: Contacts) -> documents.RunSheetFacts:
    """The sheet of a driver, in driving order.

    `contacts` says whom to ring, by key of the premises; empty for who may not know.
    """
    planned = sheet.planned
    issuer = planned.organisation
    return documents.RunSheetFacts(
        issuer=documents.Issuer(name=issuer.name, address=issuer.address, phone=issuer.phone),
        tanker=planned.tanker.name,
        vehicle=planned.tanker.vehicle_registration,
        crew=planned.crew.name if planned.crew else "",
        day=planned.day,
        sums=_sums(sheet),
        stops=tuple(
            _run_stop(sheet, line, place, contacts) for place, line in enumerate(sheet.lines)
        ),
        warning=_warning(planned),
    )


def run_sheet_pdf(sheet: Sheet, contacts: Contacts) -> bytes:
    """The run sheet to look at, before it has a number."""
    planned = sheet.planned
    stamp = documents.Stamp(number="", issued_on=sheet.clock.day_of(planned.changed_at))
    return documents.run_sheet(run_sheet_facts(sheet, contacts), stamp)


def issue_run_sheet(*, sheet: Sheet, by: User, today: dt.date) -> Paper:
    """Give the run sheet out under a number, or the one that stands while nothing has changed.

    A sheet whose round has changed since is replaced by one that names it. Raises PaperRefused for
    a round that is not accepted: nobody is to drive it. It names nobody to ring, for it is kept.
    """
    planned = sheet.planned
    if planned.accepted_at is None:
        raise PaperRefused(
            "Only an accepted round is driven: accept it before its sheet is issued."
        )
    draft = Draft(
        kind=Paper.Kind.RUN_SHEET,
        facts=run_sheet_facts(sheet, {}),
        premises=None,
        about=planned.public_id,
    )
    return issue(draft=draft, organisation=planned.organisation, by=by, today=today)


def _warning(planned: Round) -> str:
    if planned.accepted_at is not None:
        return ""
    return PROPOSED if planned.run_id else CALLED_OFF


def _sums(sheet: Sheet) -> str:
    units = sheet.planned.organisation.units
    jobs, tips = len(sheet.jobs), sheet.tips
    tank = spoken(sheet.planned.tanker.capacity_litres, units)
    return (
        f"{jobs} job{'' if jobs == 1 else 's'}, {tips} tip{'' if tips == 1 else 's'}, "
        f"{spoken(sheet.litres, units)} with a tank of {tank}, "
        f"{sheet.km:.0f} km, {sheet.hours:.1f} hours"
    )


def _run_stop(sheet: Sheet, line: Line, place: int, contacts: Contacts) -> documents.RunStop:
    base = sheet.planned.tanker.base
    name = line.name
    if line.stop.kind == "base":
        name = f"Leave {base}" if place == 0 else f"Back at {base}"
    return documents.RunStop(
        at=f"{line.starts:%H:%M}",
        name=name,
        number=line.number,
        distance=f"after {line.stop.metres / 1000:.0f} km" if line.stop.metres else "",
        address=line.premises.one_line_address if line.premises else "",
        details=tuple(_details(sheet, line, contacts)),
        is_tip=line.stop.works is not None,
    )


def _details(sheet: Sheet, line: Line, contacts: Contacts) -> Iterator[str]:
    job = line.stop.job
    if job is None:
        yield from _between_jobs(sheet, line)
        return
    yield _work(sheet, line, job)
    premises = job.system.premises
    contact = contacts.get(premises.pk)
    if contact is not None:
        yield f"Ring on site: {contact}, {contact.phone}"
    if job.system.lid_note:
        yield f"Lid: {job.system.lid_note}"
    if job.system.latitude is not None and job.system.longitude is not None:
        yield f"Position: {job.system.latitude:.5f}, {job.system.longitude:.5f}"
    access = " · ".join(_access(premises))
    if access:
        yield f"Way in: {access}"
    for name, words in (("Getting there", premises.access_note), ("Note", job.notes)):
        if words:
            yield f"{name}: {words}"


def _between_jobs(sheet: Sheet, line: Line) -> Iterator[str]:
    """What a driver needs to know at a works and of his break."""
    works = line.stop.works
    if works is not None:
        permit = f", permit {works.permit_number}" if works.permit_number else ""
        yield f"{line.hours_words}{permit}."
        litres = spoken(line.tipped, sheet.planned.organisation.units)
        yield f"About {litres} to tip, leave by {line.departs:%H:%M}."
    elif line.stop.kind == Stop.Kind.BREAK:
        yield f"Until {line.departs:%H:%M}: a break is no time for other work."


def _work(sheet: Sheet, line: Line, job: Job) -> str:
    kind = f"{job.get_kind_display()}, {job.system.get_kind_display().lower()}"
    part = f", visit {line.stop.part}" if line.stop.part else ""
    litres = spoken(line.litres, sheet.planned.organisation.units)
    on_board = spoken(line.stop.load_after_litres, sheet.planned.organisation.units)
    said = f"{kind} {job.system.reference}{part}, about {litres}"
    said += f" (then {on_board} on board), leave by {line.departs:%H:%M}"
    if line.promise is not None:
        said += f", promised between {line.promise[0]:%H:%M} and {line.promise[1]:%H:%M}"
    return f"{said}."


def _access(premises: Premises) -> Iterator[str]:
    """What a driver must know before turning in."""
    if premises.gate_width_mm:
        yield f"gate {premises.gate_width_mm / 1000:.2f} m wide"
    if premises.height_limit_mm:
        yield f"height {premises.height_limit_mm / 1000:.2f} m"
    if premises.weight_limit_kg:
        yield f"weight {premises.weight_limit_kg / 1000:.1f} t"
    if premises.hose_run_m:
        yield f"hose {premises.hose_run_m:g} m"
    if premises.surface:
        yield f"stand on {premises.get_surface_display().lower()}"
    if premises.dog:
        yield "DOG"


def calendar_file(planned: Round) -> bytes:
    """The round as one entry for a calendar."""
    entries = [round_entry(planned)] if planned.starts_at and planned.ends_at else []
    name = f"{planned.tanker}, {date_format(planned.day, 'j M Y')}"
    return feed(entries, name=name, uid=f"file-{planned.public_id}@{settings.MAIL_DOMAIN}")


def gpx_file(sheet: Sheet) -> bytes:
    """The route for a navigator: GPX 1.1, one point a stop in driving order."""
    Xml.register_namespace("", GPX)
    root = Xml.Element(f"{{{GPX}}}gpx", {"version": "1.1", "creator": "Ebbmark"})
    route = Xml.SubElement(root, f"{{{GPX}}}rte")
    Xml.SubElement(route, f"{{{GPX}}}name").text = _name(sheet)
    for line in sheet.lines:
        where = spot_of(sheet, line)
        if where is not None:
            at = {"lat": f"{where[0]:.6f}", "lon": f"{where[1]:.6f}"}
            point = Xml.SubElement(route, f"{{{GPX}}}rtept", at)
            Xml.SubElement(point, f"{{{GPX}}}name").text = _label(line)
            Xml.SubElement(point, f"{{{GPX}}}type").text = line.stop.kind
    return bytes(Xml.tostring(root, encoding="utf-8", xml_declaration=True))


def geojson_file(sheet: Sheet) -> bytes:
    """The route for a map: RFC 7946, a line through the stops and a point for each."""
    spots = [(line, where) for line in sheet.lines if (where := spot_of(sheet, line)) is not None]
    features: list[dict[str, Any]] = [
        _feature("Point", _position(where), _properties(line)) for line, where in spots
    ]
    if len(spots) > 1:
        path = [_position(where) for _, where in spots]
        whole = {"name": _name(sheet), "metres": sheet.planned.metres}
        features.insert(0, _feature("LineString", path, whole))
    text = json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False)
    return text.encode()


def _feature(kind: str, coordinates: Any, properties: dict[str, Any]) -> dict[str, Any]:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def _position(where: tuple[float, float]) -> list[float]:
    """Longitude before latitude: RFC 7946 §3.1.1."""
    return [round(where[1], 6), round(where[0], 6)]


def _properties(line: Line) -> dict[str, Any]:
    return {
        "name": line.name,
        "kind": line.stop.kind,
        "number": line.number,
        "start": f"{line.starts:%Y-%m-%dT%H:%M:%S}",
        "load_after_litres": line.stop.load_after_litres,
    }


def _name(sheet: Sheet) -> str:
    return f"{sheet.planned.tanker}, {date_format(sheet.planned.day, 'D j M Y')}"


def _label(line: Line) -> str:
    number = f"{line.number}. " if line.number else ""
    return f"{number}{line.starts:%H:%M} {line.name}"


def spot_of(sheet: Sheet, line: Line) -> tuple[float, float] | None:
    """Where a stop is; None for a break, and where no position is known."""
    stop = line.stop
    if stop.kind == "base":
        base = sheet.planned.tanker.base
        return base.latitude, base.longitude
    place = stop.works or (stop.job.system if stop.job else None)
    if place is None or place.latitude is None or place.longitude is None:
        return None
    return place.latitude, place.longitude


def file_name(planned: Round, kind: str) -> str:
    """Name of a file of a round, in signs that every machine keeps."""
    tanker = "".join(
        sign if sign.isascii() and sign.isalnum() else "-" for sign in str(planned.tanker)
    )
    return f"round-{planned.day.isoformat()}-{tanker.lower()}.{kind}"
