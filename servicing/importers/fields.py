"""What a column of a list can mean, and the headings by which the trade writes it."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from .volumes import unit_in_words


@dataclass(frozen=True, slots=True)
class Field:
    """One meaning of a column: its name in a mapping, its label, and headings that say so."""

    name: str
    label: str
    headings: frozenset[str]
    group: str


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading taken apart: its words, and the unit of volume it names ("" when none)."""

    text: str
    unit: str = ""
    words: frozenset[str] = field(default=frozenset())


def _field(name: str, label: str, group: str, headings: str) -> Field:
    texts = (text.strip() for text in headings.split(","))
    return Field(name, label, frozenset({*texts, plain(name), plain(label)}), group)


def plain(text: str) -> str:
    """Return a heading in lower case with nothing but letters, figures and single spaces."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)
    return " ".join(re.sub(r"[^a-z0-9³]+", " ", spaced.lower()).split())


FIELDS: tuple[Field, ...] = (
    _field(
        "reference", "Reference", "System",
        "ref, ref no, reference no, reference number, system ref, system no, system id, id, job no,"
        "job number, job ref, installation no, installation ref, asset, asset no, account no,"
        "account number, customer no, customer ref, tank no, tank id, tank ref, unit no, no,"
        "our ref, system reference",
    ),
    _field(
        "kind", "Kind of system", "System",
        "type, kind, system type, tank type, type of system, type of tank, system, installation type,"
        "treatment, kind of tank, installed system",
    ),
    _field(
        "make_and_model", "Make and model", "System",
        "make, model, make model, manufacturer, make of tank, product, maker",
    ),
    _field("serial_number", "Serial number", "System", "serial, serial no, s n"),
    _field(
        "installed_on", "Installed", "System",
        "install date, date installed, installation date, commissioned, commissioning date,"
        "date of installation, year installed, fitted, date fitted, installation year, install year,"
        "installed date, commissioned on",
    ),
    _field(
        "volume", "Working volume", "System",
        "capacity, size, tank size, tank capacity, tank volume, volume, tank, litres, gallons, gals,"
        "size of tank, nominal capacity, liquid capacity, tank litres, tank gallons",
    ),
    _field(
        "last_emptied_on", "Last emptied", "System",
        "emptied, date emptied, emptied on, last emptied date, date last emptied, last emptying,"
        "last empty, last desludged, desludged, last desludge, last desludging, last pumped,"
        "pumped out, last pump out, pumped, last sludge removal, date of last emptying,"
        "date desludged",
    ),
    _field(
        "last_serviced_on", "Last serviced", "System",
        "serviced, last service, service date, last service date, last service visit,"
        "date of last service, date serviced",
    ),
    _field(
        "chambers", "Number of chambers", "System",
        "chambers, no of chambers, inspection chambers, manholes, number of inspection chambers",
    ),
    _field(
        "discharge", "Discharges to", "System",
        "discharge, discharge to, outlet to, outfall, effluent to, drains to",
    ),
    _field(
        "registration", "Registration or consent", "System",
        "registration no, consent, consent no, permit, permit no, registration number, consent number",
    ),
    _field(
        "maker_interval_months", "Maker's emptying interval, months", "System",
        "emptying interval months, emptying interval, empty every months",
    ),
    _field(
        "service_interval_months", "Service interval, months", "System",
        "service interval, service every months",
    ),
    _field(
        "lid_note", "Where the lid is", "System",
        "lid, lid location, lid note, location of tank, tank location, where, cover location,"
        "location of lid, where is the tank, tank position",
    ),
    _field("notes", "Notes", "System", "note, comments, comment, remarks, other information"),
    _field(
        "persons", "Persons", "Who uses it",
        "people, occupants, occupancy, occupiers, no of people, no of persons, number of people,"
        "number of persons, number of occupants, no of occupants, residents, household, users,"
        "no in house, people in house, population",
    ),
    _field(
        "bedrooms", "Bedrooms", "Who uses it",
        "beds, no of bedrooms, number of bedrooms, bedrms, bed, bedroom, no of beds, no bedrooms",
    ),
    _field(
        "design_population", "Design population", "Who uses it",
        "pe, p e, population equivalent, design pe, design p, plant size pe",
    ),
    _field(
        "use", "Use of the building", "Who uses it",
        "use, property use, property type, premises type, building use, type of property,"
        "type of premises, building",
    ),
    _field(
        "weeks_per_year", "Weeks in use a year", "Who uses it",
        "weeks, weeks a year, weeks occupied, weeks let, weeks in use",
    ),
    _field(
        "kitchen_grinder", "Kitchen grinder", "Who uses it",
        "grinder, waste disposal unit, macerator, food grinder, sink grinder",
    ),
    _field(
        "premises_name", "Name of the premises", "Place",
        "premises, property, house name, site, site name, property name, premises name, house,"
        "name of property, farm",
    ),
    _field(
        "address", "Address", "Place",
        "address 1, address line 1, address1, site address, property address, street, addr, add 1,"
        "address line, installation address",
    ),
    _field("address_2", "Address, second line", "Place", "address 2, address line 2, address2, add 2"),
    _field("address_3", "Address, third line", "Place", "address 3, address line 3, address3, add 3"),
    _field("town", "Town", "Place", "town, village, city, post town, town village, locality, town city"),
    _field("county", "County", "Place", "county, region, state, shire"),
    _field("postcode", "Postcode or Eircode", "Place", "postcode, post code, eircode, pcode, zip, p code"),
    _field("latitude", "Latitude", "Place", "lat, latitude, y"),
    _field("longitude", "Longitude", "Place", "long, lon, lng, longitude, x"),
    _field(
        "position", "Latitude and longitude together", "Place",
        "lat long, latlong, lat lon, coordinates, co ordinates, gps, location, position, lat lng,"
        "gps location, gps coordinates",
    ),
    _field(
        "grid_reference", "Grid reference", "Place",
        "grid ref, ngr, os grid ref, os ref, os grid reference, gridref, national grid reference,"
        "os grid, map ref, map reference, irish grid reference",
    ),
    _field("easting", "Easting", "Place", "eastings, easting, east, os easting"),
    _field("northing", "Northing", "Place", "northings, northing, north, os northing"),
    _field(
        "access_note", "Access", "Place",
        "access notes, directions, access note, how to get there, tanker access, access for tanker",
    ),
    _field(
        "owner_name", "Owner's name", "Owner",
        "owner, customer, customer name, name, client, owner name, contact, householder, homeowner,"
        "contact name, client name, occupier, occupier name, homeowner name",
    ),
    _field(
        "owner_email", "Owner's e-mail", "Owner",
        "email, e mail, owner email, customer email, email address, e mail address, contact email,"
        "client email",
    ),
    _field(
        "owner_phone", "Owner's telephone", "Owner",
        "phone, telephone, tel, mobile, owner phone, phone no, phone number, tel no, contact number,"
        "telephone no, mobile no, customer phone, contact phone, telephone number, tel number",
    ),
    _field(
        "agreement", "Aftercare plan", "Agreement",
        "agreement, aftercare, plan, contract, service plan, maintenance agreement, aftercare agreement,"
        "service agreement, maintenance contract, service contract",
    ),
    _field(
        "agreement_starts_on", "Agreement starts", "Agreement",
        "contract start, agreement start, contract starts, agreement from, contract start date",
    ),
    _field(
        "agreement_ends_on", "Agreement ends", "Agreement",
        "contract end, agreement end, contract ends, renewal, renewal date, agreement until,"
        "contract expiry, expiry, expiry date, contract end date, renewal due",
    ),
)  # fmt: skip

BY_NAME = {one.name: one for one in FIELDS}
REASON_HEADING = "reason"  # our own column in a file of refused rows
_BY_HEADING = {heading: one for one in FIELDS for heading in one.headings}


def take_apart(heading: str) -> Heading:
    """Return a heading without the unit of volume it names, and that unit."""
    text = plain(heading)
    unit, rest = unit_in_words(heading)
    kept = plain(rest) if unit else text
    return Heading(kept, unit, frozenset(kept.split()))


def match_heading(heading: str) -> tuple[Field | None, int]:
    """Return what a heading most likely means and how well it fits (0 to 100)."""
    parts = take_apart(heading)
    if exact := _BY_HEADING.get(plain(heading)) or _BY_HEADING.get(parts.text):
        return exact, 100
    if parts.unit and not parts.text:
        return BY_NAME["volume"], 90
    best: tuple[int, Field | None] = (0, None)
    for known, one in _BY_HEADING.items():
        words = frozenset(known.split())
        if words <= parts.words and (len(words) > 1 or len(known) > 3):
            best = max(
                best, (50 + len(known) - len(parts.text) // 4, one), key=lambda pair: pair[0]
            )
    return best[1], best[0]


def is_heading(text: str) -> bool:
    """Whether a cell reads like a heading of a list of systems."""
    return len(text) <= 60 and match_heading(text)[0] is not None
