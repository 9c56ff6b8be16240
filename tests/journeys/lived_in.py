"""The demo valley after a day's work: something stands on every page that may be empty at first.

Done through the site where a form is short, through its verbs where it is long.
"""

from __future__ import annotations

import datetime as dt
import re
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.forms import BaseForm
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from customers.local_days import at_local, local_today, zone_of
from customers.models import Agreement, Membership, Organisation, OwnerLink, Party, User
from customers.sales import ask_sale
from scheduler import booking, day_again, demo, round_plans, rounds, tasks
from scheduler.deliveries import Told, take_delivery
from scheduler.messages.consent import leave_token
from scheduler.models import Crew, Job, Message, PlanRun, Round
from scheduler.owner_links import owner_url
from tests.journeys.lived_in_papers import give_papers_out, tip_first_load
from tests.make import make_jpeg

LIST = Path(__file__).parents[1] / "data" / "past_installations.csv"


@dataclass(frozen=True)
class LivedIn:
    """Addresses to begin at that no page of the site leads to."""

    by_link: tuple[str, ...]
    office: tuple[str, ...]
    planner: tuple[str, ...] = ()


def live_in() -> LivedIn:
    """Load the valley and work in it for a day."""
    demo.load_demo()
    operator = Organisation.objects.get(slug="brindle-vale")
    today = local_today(operator)
    early = at_local(today, dt.time(5), zone_of(operator))
    for state in ("failed", "waiting"):
        plan(today + dt.timedelta(days=3), jobs=2, left_in=state)
    # Today's round comes with the valley.
    run = plan(today + dt.timedelta(days=1), jobs=6)
    rounds.accept_rounds(run=run, rounds=run.rounds.all(), by=merryn(), now=early)
    plan(today + dt.timedelta(days=2), jobs=8)
    tess = Round.objects.get(day=today, accepted_at__isnull=False)
    drive_two_stops(tess)
    tip_first_load(tess, signed_in("tess@brindle.example"))
    rest = break_down(tess)
    tasks.write_reminders()
    tasks.drain_outbox()
    owner = owner_of_agreed()
    place = owner_url(premises=owner.premises, person=owner.person)
    papers = give_papers_out(owner.premises, today)
    ask_sale(
        link=OwnerLink.objects.get(premises=owner.premises, person=owner.person),
        facts={"completes_on": today + dt.timedelta(days=60), "buyer_name": "Wren Alder"},
    )
    advice = ask_as_owner(place)
    calendar_for(Crew.objects.filter(organisation__slug="brindle-vale").earliest("pk"))
    larkholt = Organisation.objects.get(slug="larkholt")
    token = leave_token(organisation=larkholt, address="omar@home.example")
    leave = reverse("scheduler:leave", args=[token])
    Membership.objects.create(
        user=User.objects.get(email="hollis@larkholt.example"), organisation=operator, role="reader"
    )
    return LivedIn(
        by_link=(place, advice, leave, offered(today), *owners_agreements(), *papers.by_link),
        office=(*uploads(), *messages_to_settle(), *agreements_to_settle(), *papers.office),
        planner=(rest,),
    )


def merryn() -> User:
    return User.objects.get(email="merryn@brindle.example")


def signed_in(email: str) -> Client:
    client = Client()
    client.force_login(User.objects.get(email=email))
    return client


def plan(day: dt.date, *, jobs: int, left_in: str = "") -> PlanRun:
    """Plan a round of Tess's tanker from what is most due, or leave the run in a state."""
    operator = Organisation.objects.get(slug="brindle-vale")
    fleet = round_plans.fleet_of(operator)
    tanker = next(one for one in fleet.tankers if one.crew and one.crew.user)
    due = Job.objects.filter(handed_to=operator, state="wanted").order_by("due_on", "pk")
    run = round_plans.start_plan(
        organisation=operator,
        first_day=day,
        days=1,
        by=merryn(),
        settings=round_plans.PlanSettings(
            tankers=(str(tanker.public_id),),
            works=tuple(str(one.public_id) for one in fleet.works),
            jobs=tuple(str(job.public_id) for job in due[:jobs]),
            iterations=30,
        ),
    )
    if left_in:
        PlanRun.objects.filter(pk=run.pk).update(state=left_in)
    else:
        round_plans.run_plan(run.pk)
    run.refresh_from_db()
    return run


def drive_two_stops(planned: Round) -> None:
    """Tess records the first visit of her round and has come to the second."""
    first, second = planned.stops.filter(job__isnull=False).order_by("position")[:2]
    job = first.job
    where = reverse("scheduler:job_sheet", args=[job.public_id])
    client = signed_in("tess@brindle.example")
    sheet = begun(*client.get(where).context["sheet"].forms)
    sheet |= {"ground": "dry", "cautions_read": "on", "lid_back_on": "on", "sure": "on"}
    sheet |= {"removed": "all", "volume_removed": str(job.litres)}
    sheet |= {"signed_how": "typed", "signed_by": "Omar Brook"}
    for shown in ("lid_before", "lid_back"):
        photo = SimpleUploadedFile(f"{shown}.jpg", make_jpeg(), content_type="image/jpeg")
        sheet[f"photo_{shown}"] = photo
    client.post(where, sheet)
    job.refresh_from_db()
    assert job.state == Job.State.DONE
    client.post(reverse("scheduler:stop_arrived", args=[second.public_id]))
    deliver_late(job, sheet)


def deliver_late(job: Job, sheet: dict[str, Any]) -> None:
    """The same job's sheet from a telephone without signal till now: the office has to settle it."""
    fields = [[name, value] for name, value in sheet.items() if isinstance(value, str)]
    told = Told(
        key=uuid.uuid4(),
        kind="sheet",
        made_at=timezone.now(),
        sent_at=timezone.now(),
        job=job,
        fields=fields,
        sheet_key=uuid.uuid4(),
    )
    take_delivery(told=told, by=User.objects.get(email="tess@brindle.example"), now=timezone.now())


def break_down(planned: Round) -> str:
    """Its tanker stops for the day; what becomes of its jobs is proposed, not settled."""
    run = day_again.plan_rest(
        organisation=planned.organisation,
        off_the_road=[planned.tanker],
        shut_works=[],
        given_up=[],
        urgent=[],
        because="The pump failed",
        by=merryn(),
        now=timezone.now(),
        seconds=1,
    )
    round_plans.run_plan(run.pk)
    return reverse("scheduler:plan_run", args=[run.public_id])


def begun(*forms: BaseForm) -> dict[str, str]:
    """What forms would send as they were shown."""
    return {field.html_name: field.value() or "" for form in forms for field in form}


def owner_of_agreed() -> Party:
    """The owner of a place where a visit is agreed."""
    last = Round.objects.filter(accepted_at__isnull=False).latest("day")
    agreed = last.stops.filter(job__system__premises__parties__role="owner")
    premises = agreed.earliest("pk").job.system.premises
    return Party.objects.filter(premises=premises, role="owner").earliest("pk")


def offered(today: dt.date) -> str:
    """The link of an owner who has been offered a day."""
    owner = Party.objects.filter(
        role="owner",
        premises__organisation__slug="larkholt",
        premises__systems__jobs__state="wanted",
    ).earliest("pk")
    job = Job.objects.filter(system__premises=owner.premises, state="wanted").earliest("pk")
    zone = zone_of(job.organisation)
    nine, noon = (at_local(today + dt.timedelta(days=20), dt.time(hour), zone) for hour in (9, 12))
    ines = User.objects.get(email="ines@larkholt.example")
    booking.offer(job=job, starts_at=nine, ends_at=noon, by=ines)
    return owner_url(premises=owner.premises, person=owner.person)


def owners_agreements() -> list[str]:
    """An owner's page of an agreement offered, of one to cancel, and of one that renews itself."""
    ours = Agreement.objects.filter(organisation__slug="larkholt", payer__isnull=False)
    today = timezone.localdate()
    settled = ours.renewing().current(today).exclude(cancel_by__gte=today)
    chosen = [
        rows.earliest("pk")
        for rows in (ours.filter(state="offered"), ours.cancellable(today), settled)
    ]
    return [
        f"{owner_url(premises=one.premises, person=one.payer)}agreements/{one.public_id}/"
        for one in chosen
        if one.payer is not None
    ]


def agreements_to_settle() -> list[str]:
    """Pages with a form about an agreement in the state that it is for."""
    ours = Agreement.objects.filter(organisation__slug="larkholt")
    today = timezone.localdate()
    pages = {
        "customers:agreement_edit": ours.filter(state="draft"),
        "scheduler:agreement_signed": ours.filter(state="offered"),
        "scheduler:agreement_cancel": ours.cancellable(today),
        "customers:agreement_notice": ours.held(),
        "customers:agreement_price": ours.renewing(),
    }
    running = ours.renewing().current(today).earliest("pk")
    papers = reverse("servicing:papers", args=[running.premises.public_id])
    settled = [(name, rows.earliest("pk")) for name, rows in pages.items()]
    return [papers, *(reverse(name, args=[one.public_id]) for name, one in settled)]


def messages_to_settle() -> list[str]:
    """Pages of a message that could not be sent and of a letter that waits to be posted."""
    ours = Message.objects.filter(organisation__slug="larkholt")
    dead = ours.filter(state="sent").earliest("pk")
    Message.objects.filter(pk=dead.pk).update(state="dead", last_error="No such mailbox.")
    letter = ours.filter(channel="post", state="waiting").earliest("pk")
    return [reverse("scheduler:message", args=[one.public_id]) for one in (dead, letter)]


def ask_as_owner(place: str) -> str:
    """Ask for another day and report trouble; gives where the advice stands."""
    client = Client()
    page = client.get(place)
    ((_, ((visit, wish), *_)), *_) = page.context["shown"]
    day = timezone.localdate() + dt.timedelta(days=9)
    client.post(
        reverse("scheduler:owner_other_day", args=[place.split("/")[2], visit.job.public_id]),
        {wish.add_prefix("first"): day.isoformat()},
    )
    trouble = reverse("scheduler:owner_trouble", args=[place.split("/")[2]])
    form = client.get(trouble).context["form"]
    said = begun(form) | {form.add_prefix("key"): str(uuid.uuid4())}
    said |= {form.add_prefix("sign"): "all_slow", form.add_prefix("words"): "since Sunday"}
    advice = client.post(trouble, said)
    assert advice.status_code == 302
    return advice.url


def calendar_for(crew: Crew) -> None:
    where = reverse("scheduler:feed_new", args=["crew", crew.public_id])
    signed_in("merryn@brindle.example").post(where)


def uploads() -> list[str]:
    """Pages of two lists: one looked at, one brought in."""
    client = signed_in("ines@larkholt.example")
    pages = []
    for bring_in in (False, True):
        file = SimpleUploadedFile("past.csv", LIST.read_bytes())
        columns = client.post(reverse("servicing:import"), {"file": file}).url
        token = re.search(r"[0-9a-f-]{36}", columns)[0]
        client.post(columns, begun(client.get(columns).context["form"]))
        pages += [columns, reverse("servicing:import_check", args=[token])]
        if bring_in:
            client.post(reverse("servicing:import_bring_in", args=[token]))
            pages = [*pages[:2], reverse("servicing:import_result", args=[token])]
    return pages
