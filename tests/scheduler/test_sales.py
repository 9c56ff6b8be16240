"""A house is sold: Omar leaves, somebody new comes, the records stay."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from customers import sales
from customers.agreements import start_agreement
from customers.models import AftercarePlan, Agreement, OwnerLink, Party, Person, Sale
from scheduler.models import Appointment, FeedToken, Job, Message
from scheduler.owner_links import owner_url
from scheduler.sale_completion import complete_due_sales, complete_sale
from servicing.models import Paper, Visit
from tests.make import (
    make_job,
    make_organisation,
    make_person,
    make_premises,
    make_system,
    make_user,
)

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 10, tzinfo=dt.UTC)
TODAY = NOW.date()
BUYER = {"buyer_name": "Petra New", "buyer_email": "petra@home.example"}


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def firm():
    return make_organisation(name="Firm", phone="01632 960 111", slug="firm-of-sales")


@pytest.fixture
def ines(firm):
    return make_user(firm)


@pytest.fixture
def system(firm):
    place = make_premises(firm, name="Mill House", address="Mill Lane")
    return make_system(premises=place, reference="MH-1", last_emptied_on=dt.date(2025, 11, 1))


@pytest.fixture
def omar(system):
    person = make_person(system.organisation, name="Omar", email="omar@home.example")
    for role in ("owner", "occupier"):
        Party.objects.create(premises=system.premises, person=person, role=role)
    return person


@pytest.fixture
def tenant(system):
    person = make_person(system.organisation, name="Tilda Tenant")
    Party.objects.create(premises=system.premises, person=person, role="occupier")
    return person


@pytest.fixture
def link(system, omar):
    return owner_url(premises=system.premises, person=omar)


def sold(system, ines, **facts):
    return sales.note_sale(
        premises=system.premises,
        facts={"completes_on": TODAY, **BUYER, **facts},
        by=ines,
        now=NOW,
    )


def signed_in(client, user):
    client.force_login(user)
    return client


# --- On completion ---


def test_the_old_link_ends_and_the_new_owner_gets_one_with_the_pack(
    client, system, ines, omar, link
):
    complete_sale(sale=sold(system, ines), by=ines, now=NOW)
    assert client.get(link).status_code == 410
    told = Message.objects.get(template="sale_welcome")
    assert told.to_address == "petra@home.example"
    page = told.body_text.split("for you alone:\n")[1].split("\n")[0]
    new = client.get(page.replace("http://localhost:8000", ""))
    assert "Handover pack" in new.content.decode()
    assert Paper.objects.get(kind="handover_pack").premises == system.premises


def test_parts_are_dated_and_records_stay(system, ines, omar, link):
    Visit.objects.create(
        organisation=system.organisation,
        system=system,
        visited_on=dt.date(2025, 11, 1),
        lid_back_on=True,
    )
    sale = complete_sale(sale=sold(system, ines), by=ines, now=NOW)
    assert set(omar.parties.values_list("until", flat=True)) == {TODAY - dt.timedelta(days=1)}
    assert set(sale.buyer.parties.values_list("role", "since")) == {
        ("owner", TODAY),
        ("operator", TODAY),
    }
    assert system.visits.count() == 1


def test_completing_twice_changes_nothing(system, ines, omar, link):
    sale = sold(system, ines)
    for _ in range(2):
        complete_sale(sale=sale, by=ines, now=NOW)
    assert Person.objects.filter(name="Petra New").count() == 1
    assert Paper.objects.filter(kind="handover_pack").count() == 1
    assert Message.objects.filter(template="sale_welcome").count() == 1


def test_the_visit_moves_from_the_old_calendar_into_the_new(system, ines, omar):
    job = make_job(system, due_on=TODAY + dt.timedelta(days=9), state=Job.State.AGREED)
    appointment = Appointment.objects.create(
        job=job,
        starts_at=NOW + dt.timedelta(days=7),
        ends_at=NOW + dt.timedelta(days=7, hours=2),
        agreed_at=NOW,
    )
    Party.objects.get(person=omar, role="owner").save()  # tells him of the visit
    complete_sale(sale=sold(system, ines), by=ines, now=NOW)
    events = {one.attendee_email: one for one in appointment.events.all()}
    assert events["omar@home.example"].cancelled_at is not None
    assert events["petra@home.example"].cancelled_at is None


def test_messages_that_wait_for_the_old_owner_are_dropped(system, ines, omar):
    job = make_job(system, due_on=TODAY)
    waiting = Message.objects.create(
        organisation=system.organisation,
        key="offer:x",
        template="offer",
        person=omar,
        job=job,
        to_address=omar.email,
        subject="s",
        body_text="b",
        next_try_at=NOW,
    )
    complete_sale(sale=sold(system, ines), by=ines, now=NOW)
    waiting.refresh_from_db()
    assert (waiting.state, waiting.last_error) == ("dropped", "The premises were sold since.")


def test_a_feed_of_the_old_owner_ends(system, ines, omar):
    feed = FeedToken.objects.create(
        organisation=system.organisation, token_hash="h", person=omar, premises=system.premises
    )
    complete_sale(sale=sold(system, ines), by=ines, now=NOW)
    feed.refresh_from_db()
    assert feed.revoked_at == NOW


def test_tenants_who_stay_keep_their_links(client, system, ines, omar, tenant):
    theirs = owner_url(premises=system.premises, person=tenant)
    complete_sale(sale=sold(system, ines, occupiers_stay=True), by=ines, now=NOW)
    assert client.get(theirs).status_code == 200
    assert omar.parties.filter(until=None).count() == 0


@pytest.mark.parametrize("takes_over", [True, False])
def test_the_agreement_ends_and_where_it_is_taken_over_the_rest_is_offered(
    system, ines, omar, takes_over
):
    plan = AftercarePlan.objects.create(
        organisation=system.organisation, name="Watch", price_pence=9000
    )
    start_agreement(
        premises=system.premises,
        plan=plan,
        starts_on=dt.date(2026, 3, 1),
        ends_on=dt.date(2027, 2, 28),
        payer=omar,
        by=ines,
    )
    sale = complete_sale(sale=sold(system, ines, keeps_agreement=takes_over), by=ines, now=NOW)
    assert not Agreement.objects.current(TODAY).filter(premises=system.premises).exists()
    offered = Agreement.objects.filter(premises=system.premises, state="offered")
    assert [one.payer for one in offered] == ([sale.buyer] if takes_over else [])


# --- Before completion ---


def test_until_completion_nothing_changes_and_it_can_be_called_off(
    client, system, ines, omar, link
):
    sale = sold(system, ines, completes_on=TODAY + dt.timedelta(days=20))
    assert complete_due_sales(now=NOW) == 0
    sales.call_off_sale(sale=sale, because="The chain broke", by=ines, now=NOW)
    assert client.get(link).status_code == 200
    assert omar.parties.filter(until=None).count() == 2
    assert complete_due_sales(now=NOW + dt.timedelta(days=30)) == 0


def test_a_confirmed_sale_is_completed_by_itself_on_its_day(system, ines, omar):
    sold(system, ines, completes_on=TODAY + dt.timedelta(days=20))
    then = NOW + dt.timedelta(days=20)
    assert [complete_due_sales(now=then), complete_due_sales(now=then)] == [1, 0]


def test_a_sale_is_not_completed_in_the_name_of_who_left_the_office(system, ines, omar):
    sold(system, ines)
    ines.memberships.all().delete()
    assert complete_due_sales(now=NOW) == 0
    assert Sale.objects.open().count() == 1


def test_a_completed_sale_cannot_be_called_off(system, ines, omar):
    sale = complete_sale(sale=sold(system, ines), by=ines, now=NOW)
    with pytest.raises(sales.SaleRefused):
        sales.call_off_sale(sale=sale, because="Regret", by=ines, now=NOW)


# --- The seller tells of it ---


def test_the_seller_asks_and_only_the_office_can_complete(client, system, ines, omar, link):
    asked = client.post(f"{link}sale/", {"completes_on": "2026-12-20", **BUYER})
    assert asked.status_code == 302
    sale = Sale.objects.get()
    assert (sale.asked_by, sale.confirmed_at) == (omar, None)
    with pytest.raises(sales.SaleRefused):
        complete_sale(sale=sale, by=ines, now=NOW)
    assert complete_due_sales(now=NOW + dt.timedelta(days=60)) == 0


def test_the_seller_takes_back_what_is_not_confirmed(client, system, omar, link):
    client.post(f"{link}sale/", {"completes_on": "2026-12-20", **BUYER})
    assert "Take it back" in client.get(link).content.decode()
    client.post(f"{link}sale/back/")
    assert not Sale.objects.open().exists()


def test_a_form_with_a_mistake_keeps_what_was_typed(client, system, omar, link):
    sent = client.post(f"{link}sale/", {"completes_on": "2036-12-20", **BUYER})
    assert sent.status_code == 422
    assert "within two years" in sent.content.decode()
    assert "Petra New" in sent.content.decode()


def test_a_tenant_cannot_tell_of_a_sale_nor_has_the_pack(client, system, ines, omar, tenant):
    theirs = owner_url(premises=system.premises, person=tenant)
    complete_sale(sale=sold(system, ines, occupiers_stay=True), by=ines, now=NOW)
    pack = Paper.objects.get(kind="handover_pack")
    assert client.get(f"{theirs}sale/").status_code == 404
    assert client.get(f"{theirs}papers/{pack.public_id}/").status_code == 404
    assert "Selling the house" not in client.get(theirs).content.decode()


def test_one_sale_at_a_time(system, ines, omar):
    sold(system, ines)
    with pytest.raises(sales.SaleRefused, match="under way"):
        sold(system, ines)


# --- The office ---


def test_the_office_goes_through_a_sale_by_its_pages(client, system, ines, omar, link):
    signed_in(client, ines)
    new = reverse("scheduler:sale_new", args=[system.premises.public_id])
    client.post(new, {"completes_on": "2026-12-20", **BUYER})
    sale = Sale.objects.get()
    page = client.get(reverse("scheduler:sale", args=[sale.public_id])).content.decode()
    assert "The link of Omar opens nothing any more." in page
    for verb in ("pack", "complete"):
        client.post(reverse("scheduler:sale_step", args=[sale.public_id, verb]))
    sale.refresh_from_db()
    assert sale.completed_at is not None
    assert sale.completes_on == TODAY  # by the button, before its day
    assert OwnerLink.objects.filter(person=omar, revoked_at=None).count() == 0


def test_a_planner_may_look_but_not_sell(system, ines, omar):
    planner = make_user(system.organisation, "planner")
    with pytest.raises(PermissionDenied):
        complete_sale(sale=sold(system, ines), by=planner, now=NOW)
