"""Rows that the tests of this folder share: a place, its people and an agreed visit."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from customers.models import AftercarePlan, Agreement, ContactPreference, Party, Person
from scheduler.models import Appointment, Crew, Job, Message, Round, Stop
from servicing.models import System
from tests.make import make_crew, make_job, make_organisation, make_person, make_system, make_tanker

# A Monday at ten in London, summer time.
NOW = datetime(2027, 6, 7, 9, tzinfo=UTC)


def make_owned_system(**fields: Any) -> tuple[System, Person]:
    """A system whose premises have an owner with an e-mail address."""
    organisation = fields.pop("organisation", None) or make_organisation(phone="01632 960123")
    person = fields.pop("person", None) or make_person(organisation, name="Omar")
    system = make_system(organisation, **fields)
    add_party(system, person)
    return system, person


def add_party(system: System, person: Person, role: str = Party.Role.OWNER, **dates: Any) -> Party:
    return Party.objects.create(premises=system.premises, person=person, role=role, **dates)


def make_visit(starts_at: datetime | None = None, **fields: Any) -> Appointment:
    """An agreed appointment, by default on Friday 18 June 2027 at 09:00 in London."""
    system = fields.pop("system", None) or make_owned_system()[0]
    job = fields.pop("job", None) or make_job(
        system,
        due_on=date(2027, 6, 30),
        state=Job.State.AGREED,
    )
    starts_at = starts_at or datetime(2027, 6, 18, 8, tzinfo=UTC)
    fields = {"agreed_at": NOW, "agreed_by": Appointment.AgreedBy.OFFICE, **fields}
    return Appointment.objects.create(
        job=job, starts_at=starts_at, ends_at=starts_at + timedelta(hours=2), **fields
    )


def make_round(*appointments: Appointment, crew: Crew | None = None, **fields: Any) -> Round:
    """An accepted round with a stop for each appointment."""
    organisation = appointments[0].job.organisation
    crew = crew or make_crew(organisation, name="Tess", email="tess@office.example")
    first = min(appointment.starts_at for appointment in appointments)
    planned = Round.objects.create(
        organisation=organisation,
        tanker=make_tanker(organisation),
        crew=crew,
        day=first.date(),
        starts_at=first - timedelta(hours=1),
        ends_at=first + timedelta(hours=7),
        **{"accepted_at": NOW, **fields},
    )
    for position, appointment in enumerate(appointments):
        Stop.objects.create(
            round=planned,
            position=position,
            kind=Stop.Kind.JOB,
            job=appointment.job,
            arrive_at=appointment.starts_at,
            start_at=appointment.starts_at,
            depart_at=appointment.ends_at,
        )
    return planned


def make_agreement(system: System, starts_on: date = date(2027, 1, 1)) -> Agreement:
    """Aftercare in force through 2027."""
    plan, _ = AftercarePlan.objects.get_or_create(
        organisation=system.organisation, name="Yearly", defaults={"price_pence": 12_000}
    )
    return Agreement.objects.create(
        organisation=system.organisation,
        premises=system.premises,
        plan=plan,
        starts_on=starts_on,
        ends_on=date(2027, 12, 31),
        price_pence=12_000,
    )


def allow(person: Person, *, allowed: bool = True, at: datetime = NOW) -> ContactPreference:
    """A line of the consent ledger about offers by e-mail."""
    return ContactPreference.objects.create(
        person=person,
        channel="email",
        message_class="marketing",
        allowed=allowed,
        recorded_at=at,
        how="said so on the telephone",
    )


def make_message(**fields: Any) -> Message:
    """A message that is due."""
    organisation = fields.pop("organisation", None) or make_organisation()
    count = Message.objects.count()
    defaults: dict[str, Any] = {
        "key": f"test:{count}",
        "template": "report",
        "to_name": "Omar",
        "to_address": "omar@home.example",
        "subject": "Done",
        "body_text": "Done.\n",
        "body_html": "<p>Done.</p>",
        "message_id": f"<test-{count}@ebbmark.example>",
        "next_try_at": NOW,
    }
    return Message.objects.create(organisation=organisation, **(defaults | fields))


class Sink:
    """A post that keeps what it is given, and fails as told."""

    def __init__(self, *failures: Exception | None) -> None:
        self.failures = list(failures)
        self.taken: list[bytes] = []
        self.recipients: list[str] = []

    def send(self, content: bytes, *, sender: str, recipient: str, name: str) -> None:
        failure = self.failures.pop(0) if self.failures else None
        if failure is not None:
            raise failure
        self.taken.append(content)
        self.recipients.append(recipient)
