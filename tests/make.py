"""Plain typed makers of rows for tests: `make_system(**fields)` and its kin."""

from __future__ import annotations

import datetime as dt
import io
import itertools
from typing import Any

from django.core.files.base import ContentFile
from PIL import Image

from customers.models import CountryProfile, Membership, Organisation, Person, Premises, User
from scheduler.models import Base, Crew, Job, Round, Stop, Tanker, Works
from servicing.models import Occupancy, System, Tank, Visit, VisitPhoto

number = itertools.count(1)


def make_profile(**fields: Any) -> CountryProfile:
    """England as the migration lays it down, or one of the given code."""
    code = fields.pop("code", "england")
    profile, _ = CountryProfile.objects.get_or_create(
        code=code,
        defaults={"name": code.title(), "holidays_subdivision": "ENG", **fields},
    )
    return profile


def make_organisation(**fields: Any) -> Organisation:
    """An installer with nothing in its register."""
    n = next(number)
    fields.setdefault("name", f"Aftercare {n}")
    fields.setdefault("slug", f"aftercare-{n}")
    if "profile" not in fields:
        fields["profile"] = make_profile()
    return Organisation.objects.create(**fields)


def make_jpeg(width: int = 64, height: int = 48, **saved: Any) -> bytes:
    """A photograph of nothing, as a camera would send it."""
    out = io.BytesIO()
    Image.new("RGB", (width, height), "#7a8a6a").save(out, "JPEG", **saved)
    return out.getvalue()


def make_user(
    organisation: Organisation | None = None, role: str = Membership.Role.OFFICE, **fields: Any
) -> User:
    """Somebody who can sign in with the password `correct horse`; a stranger without a place."""
    n = next(number)
    fields.setdefault("name", f"User {n}")
    user = User.objects.create_user(
        fields.pop("email", f"user{n}@office.example"), "correct horse", **fields
    )
    if organisation is not None:
        Membership.objects.create(user=user, organisation=organisation, role=role)
    return user


def make_person(organisation: Organisation, **fields: Any) -> Person:
    """An owner with an e-mail address."""
    n = next(number)
    fields.setdefault("name", f"Owner {n}")
    fields.setdefault("email", f"owner{n}@home.example")
    return Person.objects.create(organisation=organisation, **fields)


def make_premises(organisation: Organisation, **fields: Any) -> Premises:
    """A house with a position in open country."""
    n = next(number)
    fields.setdefault("name", f"House {n}")
    fields.setdefault("postcode", "ZZ1 1ZZ")
    fields.setdefault("latitude", 52.5 + n % 50 * 0.004)
    fields.setdefault("longitude", -2.9 + n % 40 * 0.005)
    return Premises.objects.create(organisation=organisation, **fields)


def make_system(organisation: Organisation | None = None, **fields: Any) -> System:
    """A septic tank of 2,800 L for three people; `tank={}` and `occupancy={}` change those."""
    premises = fields.pop("premises", None)
    if organisation is None:
        organisation = premises.organisation if premises else make_organisation()
    tank = fields.pop("tank", {})
    occupancy = fields.pop("occupancy", {})
    fields.setdefault("reference", f"S-{next(number):05d}")
    fields.setdefault("kind", System.Kind.SEPTIC_TANK)
    system = System.objects.create(
        organisation=organisation, premises=premises or make_premises(organisation), **fields
    )
    if tank is not None:
        Tank.objects.create(system=system, **{"working_volume_litres": 2800.0, **tank})
    if occupancy is not None:
        Occupancy.objects.create(system=system, **{"persons": 3.0, **occupancy})
    return system


def make_photo(visit: Visit, **fields: Any) -> VisitPhoto:
    """The cover back on, of a visit."""
    fields.setdefault("kind", VisitPhoto.Kind.LID_BACK)
    photo = VisitPhoto(
        organisation=visit.organisation,
        system=visit.system,
        visit=visit,
        sheet_key=visit.sheet_key,
        taken_for=visit.organisation,
        width=64,
        height=48,
        **{"taken_at": dt.datetime.combine(visit.visited_on, dt.time(9), tzinfo=dt.UTC), **fields},
    )
    photo.image.save("photo.jpg", ContentFile(make_jpeg()), save=False)
    photo.save()
    return photo


def make_base(organisation: Organisation, **fields: Any) -> Base:
    """A yard."""
    fields.setdefault("name", f"Base {next(number)}")
    fields.setdefault("latitude", 52.55)
    fields.setdefault("longitude", -2.85)
    return Base.objects.create(organisation=organisation, **fields)


def make_works(organisation: Organisation, **fields: Any) -> Works:
    """A treatment works that takes everything."""
    fields.setdefault("name", f"Works {next(number)}")
    fields.setdefault("latitude", 52.60)
    fields.setdefault("longitude", -2.80)
    return Works.objects.create(organisation=organisation, **fields)


def make_tanker(organisation: Organisation, **fields: Any) -> Tanker:
    """A tanker of 9,000 L with a base."""
    fields.setdefault("name", f"Tanker {next(number)}")
    fields.setdefault("capacity_litres", 9000)
    if "base" not in fields:
        fields["base"] = make_base(organisation)
    return Tanker.objects.create(organisation=organisation, **fields)


def make_crew(organisation: Organisation, **fields: Any) -> Crew:
    """A driver with an e-mail address."""
    n = next(number)
    fields.setdefault("name", f"Crew {n}")
    fields.setdefault("email", f"crew{n}@office.example")
    return Crew.objects.create(organisation=organisation, **fields)


def make_job(system: System, **fields: Any) -> Job:
    """An emptying that is wanted."""
    fields.setdefault("kind", Job.Kind.EMPTYING)
    fields.setdefault("litres", 2800)
    fields.setdefault("minutes", 40)
    return Job.objects.create(organisation=system.organisation, system=system, **fields)


def make_round(organisation: Organisation, crew: Crew | None = None, **fields: Any) -> Round:
    """An accepted round of a tanker of its own; `day` decides when it is driven."""
    day = fields["day"]
    fields.setdefault("accepted_at", dt.datetime.combine(day, dt.time(), tzinfo=dt.UTC))
    if "tanker" not in fields:
        fields["tanker"] = make_tanker(organisation)
    return Round.objects.create(organisation=organisation, crew=crew, **fields)


def make_stop(planned: Round, **fields: Any) -> Stop:
    """The next stop of a round, an hour after the one before; a job's where a job is given."""
    position = fields.setdefault("position", planned.stops.count())
    kind = Stop.Kind.JOB if fields.get("job") else Stop.Kind.TIP
    fields.setdefault("kind", kind)
    at = dt.datetime.combine(planned.day, dt.time(8 + position), tzinfo=dt.UTC)
    times = {name: fields.pop(name, at) for name in ("arrive_at", "start_at", "depart_at")}
    return Stop.objects.create(round=planned, **times, **fields)
