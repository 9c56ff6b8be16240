"""Calendar objects as bytes: invitations, cancellations, refused counter-proposals and feeds.

Every function gives the same bytes for the same facts, so that sending twice does no harm.
"""

from datetime import UTC, date, datetime, timedelta
from typing import Final, Literal
from zoneinfo import ZoneInfo

from icalendar import Alarm, Calendar, Event, vCalAddress, vDuration, vGeo, vUri

from scheduler.calendar_invites.entries import Answer, Entry, Party, many_lines, one_line
from scheduler.calendar_invites.time_zones import vtimezone

PRODID: Final = "-//Ebbmark//Aftercare calendar//EN"
Method = Literal["REQUEST", "CANCEL", "DECLINECOUNTER", "REPLY", "COUNTER"]


def invitation(
    entry: Entry, *, organizer: Party, attendee: Party, answered: Answer = "NEEDS-ACTION"
) -> bytes:
    """REQUEST: a new invitation, or with a later revision an update (RFC 5546 §3.2.2).

    An update that changes words only keeps the answer already `answered` and asks for no other.
    """
    event = _event(entry)
    _address(event, organizer, attendee, rsvp=answered == "NEEDS-ACTION", answered=answered)
    for before in entry.remind_before:
        event.add_component(_alarm(entry, before))
    return _object("REQUEST", entry, event)


def cancellation(entry: Entry, *, organizer: Party, attendee: Party) -> bytes:
    """CANCEL of the whole event (RFC 5546 §3.2.5); the entry bears the raised SEQUENCE."""
    event = _event(entry)
    event.pop("STATUS", None)
    event.add("STATUS", "CANCELLED")
    _address(event, organizer, attendee, rsvp=False)
    return _object("CANCEL", entry, event)


def counter_declined(
    entry: Entry, *, organizer: Party, attendee: Party, comment: str = ""
) -> bytes:
    """DECLINECOUNTER: the proposed other time cannot be had (RFC 5546 §3.2.8)."""
    event = _event(entry)
    _address(event, organizer, attendee, rsvp=False)
    if comment:
        event.add("COMMENT", many_lines(comment))
    return _object("DECLINECOUNTER", entry, event)


def feed(
    entries: list[Entry],
    *,
    name: str,
    uid: str,
    refresh: timedelta = timedelta(hours=6),
    colour: str = "steelblue",
) -> bytes:
    """A calendar to subscribe to: no METHOD, nobody invited, refresh interval by RFC 7986.

    SOURCE is left out: the address of a feed is its secret, and calendars get passed on.
    """
    calendar = Calendar()
    calendar.add("PRODID", PRODID)
    calendar.add("VERSION", "2.0")
    calendar.add("UID", uid)
    calendar.add("NAME", one_line(name))
    calendar.add("X-WR-CALNAME", one_line(name))
    calendar.add("COLOR", colour)
    # The VALUE parameter is required: the property has no default type (RFC 7986 §5.7).
    calendar.add("REFRESH-INTERVAL", vDuration(refresh), parameters={"VALUE": "DURATION"})
    calendar.add("X-PUBLISHED-TTL", vDuration(refresh))
    if entries:
        calendar.add("LAST-MODIFIED", max(entry.stamp for entry in entries))
    ordered = sorted(entries, key=lambda entry: entry.uid)
    for zone in sorted({entry.zone for entry in ordered if _named_zone(entry)}):
        _add_zone(calendar, zone)
    for entry in ordered:
        calendar.add_component(_event(entry))
    return bytes(calendar.to_ical())


def _object(method: Method, entry: Entry, event: Event) -> bytes:
    calendar = Calendar()
    calendar.add("PRODID", PRODID)
    calendar.add("VERSION", "2.0")
    calendar.add("METHOD", method)
    if _named_zone(entry):
        _add_zone(calendar, entry.zone)
    calendar.add_component(event)
    return bytes(calendar.to_ical())


def _add_zone(calendar: Calendar, zone: str) -> None:
    component = vtimezone(zone)
    if component is not None:
        calendar.add_component(component)


def _event(entry: Entry) -> Event:
    event = Event()
    event.add("UID", entry.uid)
    event.add("DTSTAMP", entry.stamp)
    event.add("LAST-MODIFIED", entry.stamp)
    event.add("SEQUENCE", entry.sequence)
    event.add("DTSTART", _written(entry.starts, entry.zone))
    event.add("DTEND", _written(entry.ends, entry.zone))
    event.add("SUMMARY", one_line(entry.summary))
    event.add("STATUS", entry.status)
    event.add("TRANSP", "OPAQUE")
    if entry.description:
        event.add("DESCRIPTION", many_lines(entry.description))
    if entry.location:
        event.add("LOCATION", one_line(entry.location))
    if entry.position:
        event.add("GEO", vGeo(entry.position))
    if entry.url:
        event.add("URL", vUri(entry.url))
    return event


def _address(
    event: Event,
    organizer: Party,
    attendee: Party,
    *,
    rsvp: bool,
    answered: Answer = "NEEDS-ACTION",
) -> None:
    event.add("ORGANIZER", _calendar_address(organizer))
    invited = _calendar_address(attendee)
    invited.params["CUTYPE"] = "INDIVIDUAL"
    invited.params["ROLE"] = "REQ-PARTICIPANT"
    invited.params["PARTSTAT"] = answered
    if rsvp:
        invited.params["RSVP"] = "TRUE"
    event.add("ATTENDEE", invited)


def _calendar_address(party: Party) -> vCalAddress:
    address = vCalAddress(f"mailto:{party.address}")
    # A parameter value cannot hold a double quote (RFC 5545 §3.2).
    name = one_line(party.name).replace('"', "'")
    if name:
        address.params["CN"] = name
    return address


def _alarm(entry: Entry, before: timedelta) -> Alarm:
    alarm = Alarm()
    alarm.add("ACTION", "DISPLAY")
    alarm.add("DESCRIPTION", one_line(entry.summary))
    alarm.add("TRIGGER", -before)
    return alarm


def _written(when: datetime | date, zone: str) -> datetime | date:
    """The value to write: a day as it is, an instant in its zone or, failing that, in UTC."""
    if not isinstance(when, datetime):
        return when
    return when.astimezone(ZoneInfo(zone)) if _fits(when, zone) else when.astimezone(UTC)


def _fits(when: datetime, zone: str) -> bool:
    """Whether local time names this instant.

    It cannot for a zone without yearly rules, nor for the second run of the hour that the
    clocks go through twice.
    """
    if zone == "UTC" or vtimezone(zone) is None:
        return False
    local = when.astimezone(ZoneInfo(zone))
    return local.fold == 0


def _named_zone(entry: Entry) -> bool:
    return any(
        isinstance(when, datetime) and _fits(when, entry.zone)
        for when in (entry.starts, entry.ends)
    )
