"""Look rounds, wishes and one's own data on the owner's page; what is past its years."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from customers.models import ContactPreference, OwnerLink, Party, Removal
from scheduler.messages.monthly_checks import write_check_reminders
from scheduler.models import Message
from scheduler.owner_links import owner_url
from scheduler.past_years import clear_past_years, past_years
from servicing.models import OperatorCheck
from tests.make import make_organisation, make_person, make_premises, make_system, make_user

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 10, tzinfo=dt.UTC)
TODAY = NOW.date()


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def firm():
    return make_organisation(name="Firm", phone="01632 960 111")


@pytest.fixture
def system(firm):
    return make_system(
        premises=make_premises(firm, name="Mill House"), reference="MH-1", check_reminders=True
    )


@pytest.fixture
def omar(system):
    person = make_person(
        system.organisation, name="Omar", email="omar@home.example", phone="07400 123456"
    )
    Party.objects.create(premises=system.premises, person=person, role="owner")
    return person


@pytest.fixture
def link(system, omar):
    return owner_url(premises=system.premises, person=omar)


def ticked(**more):
    return {"check-checked_on": "2026-11-24", "check-all_well": "yes", **more}


def sent(client, link, system, **more):
    return client.post(f"{link}check/", ticked(**{"check-system": str(system.public_id)}, **more))


# --- The monthly look round ---


def test_a_reminder_goes_once_a_month_to_who_asked_for_it(system, omar):
    made = [write_check_reminders(system.organisation, NOW) for _ in range(3)]
    later = write_check_reminders(system.organisation, NOW + dt.timedelta(days=30))
    assert (made, later) == ([1, 0, 0], 1)
    assert Message.objects.filter(message_class="service").count() == 2


def test_nobody_is_reminded_who_did_not_ask(firm):
    other = make_system(firm)
    Party.objects.create(premises=other.premises, person=make_person(firm), role="owner")
    assert write_check_reminders(firm, NOW) == 0


def test_a_reminder_leaves_by_day(system, omar):
    night = dt.datetime(2026, 11, 25, 23, 30, tzinfo=dt.UTC)
    write_check_reminders(system.organisation, night)
    assert Message.objects.get().next_try_at >= night  # the outbox waits for the morning
    early = dt.datetime(2026, 12, 25, 1, tzinfo=dt.UTC)  # Christmas and the day after
    write_check_reminders(system.organisation, early)
    leaves = Message.objects.order_by("pk").last().next_try_at
    assert leaves == dt.datetime(2026, 12, 27, 9, tzinfo=dt.UTC)


def test_ticking_it_records_the_day_and_stops_this_months_reminder(client, system, omar, link):
    write_check_reminders(system.organisation, NOW)
    for _ in range(2):
        assert sent(client, link, system).status_code == 302
    check = OperatorCheck.objects.get()
    assert (check.checked_on, check.person, check.all_well) == (dt.date(2026, 11, 24), omar, True)
    assert Message.objects.get().state == "dropped"
    assert write_check_reminders(system.organisation, NOW) == 0


def test_something_wrong_leads_on_to_the_advice(client, system, omar, link):
    answer = sent(client, link, system, **{"check-all_well": "no", "check-words": "Wet"})
    assert answer.url.endswith("/trouble/")
    assert OperatorCheck.objects.get().words == "Wet"


def test_a_day_to_come_is_refused_and_the_words_are_kept(client, system, omar, link):
    answer = sent(client, link, system, **{"check-checked_on": "2026-12-01", "check-words": "Dry"})
    page = answer.content.decode()
    assert (answer.status_code, OperatorCheck.objects.count()) == (422, 0)
    assert "still to come" in page
    assert "Dry" in page


def test_the_owner_stops_the_reminders(client, system, omar, link):
    client.post(f"{link}check/remind/", {"wanted": "no"})
    system.refresh_from_db()
    assert system.check_reminders is False


def test_a_tenant_has_no_look_round_to_note(client, system):
    tenant = make_person(system.organisation)
    Party.objects.create(premises=system.premises, person=tenant, role="occupier")
    theirs = owner_url(premises=system.premises, person=tenant)
    assert client.get(f"{theirs}check/").status_code == 404
    assert client.get(theirs).status_code == 200


# --- Wishes and data ---


def test_a_wish_is_a_line_of_the_ledger_and_only_where_it_changed(client, omar, link):
    for _ in range(2):
        client.post(f"{link}mine/", {"wishes-texts": "on"})
    line = ContactPreference.objects.get()
    assert (line.channel, line.message_class, line.allowed) == ("sms", "service", True)
    client.post(f"{link}mine/", {})
    assert omar.preferences.first().allowed is False


def test_one_sees_and_takes_along_what_is_held_of_oneself_alone(client, system, omar, link):
    other = make_person(system.organisation, name="Nils Other", email="nils@home.example")
    Party.objects.create(premises=system.premises, person=other, role="occupier")
    assert "omar@home.example" in client.get(f"{link}mine/").content.decode()
    file = client.get(f"{link}mine.json")
    assert file.json()["held"]["who"][0]["name"] == "Omar"
    assert "nils" not in file.content.decode().lower()


def test_the_septic_tank_to_a_watercourse_is_told_to_its_owner(client, system, omar, link):
    system.discharge = "watercourse"
    system.save()
    page = client.get(link).content.decode()
    assert "The rules do not allow that any more" in page


# --- Past their years ---


@pytest.fixture
def old_link(system, omar):
    return OwnerLink.objects.create(
        organisation=system.organisation,
        person=omar,
        premises=system.premises,
        revoked_at=NOW - dt.timedelta(days=900),
    )


def counted(firm):
    return {kind.key: kind.number for kind in past_years(firm, TODAY) if kind.number}


def test_what_is_past_its_years_is_listed_and_stays_until_told(firm, old_link):
    assert counted(firm) == {"links": 1}
    assert OwnerLink.objects.filter(pk=old_link.pk).exists()


def test_only_what_was_ticked_goes_and_it_is_written_down(client, firm, old_link):
    client.force_login(make_user(firm))
    page = reverse("scheduler:past_years")
    assert client.post(page, {"kinds": "links"}).status_code == 422
    client.post(page, {"kinds": "links", "sure": "on"})
    assert counted(firm) == {}
    assert Removal.objects.get().removed == {"links that have ended": 1}


def test_somebody_who_left_long_ago_is_proposed_and_erased(firm):
    gone = make_person(firm, name="Petra Gone")
    place = make_premises(firm)
    Party.objects.create(premises=place, person=gone, role="owner", until=dt.date(2019, 1, 1))
    here = make_person(firm)
    for until in (dt.date(2019, 1, 1), None):
        Party.objects.create(premises=place, person=here, role="payer", until=until)
    assert counted(firm) == {"people": 1}
    clear_past_years(organisation=firm, keys=["people"], by=make_user(firm), now=NOW)
    gone.refresh_from_db()
    assert gone.name == f"Erased person {gone.pk}"
    assert counted(firm) == {}


def test_a_planner_takes_nothing_away(firm):
    with pytest.raises(PermissionDenied):
        clear_past_years(organisation=firm, keys=[], by=make_user(firm, "planner"), now=NOW)


# --- The label on the cover ---


def scanned(client, system):
    return client.get(reverse("scheduler:lid", args=[system.public_id]))


def test_the_owners_telephone_opens_their_page_from_the_cover(client, system, omar, link):
    client.get(link)
    answer = scanned(client, system)
    assert (answer.status_code, answer.url) == (302, link)


def test_any_other_telephone_is_told_whom_to_ring_and_nothing_else(client, system, omar, link):
    page = scanned(client, system).content.decode()
    assert "01632 960 111" in page
    assert "Mill House" not in page
    assert "MH-1" not in page


def test_the_cover_of_another_house_opens_nothing(client, firm, system, omar, link):
    client.get(link)
    assert scanned(client, make_system(firm)).status_code == 200


def test_a_link_that_was_taken_back_opens_nothing_from_the_cover(client, system, omar, link):
    client.get(link)
    OwnerLink.objects.update(revoked_at=NOW)
    assert scanned(client, system).status_code == 200


def test_the_cookie_goes_to_covers_alone_and_scripts_cannot_read_it(client, system, omar, link):
    client.get(link)
    cookie = client.cookies["place"]
    assert (cookie["path"], cookie["httponly"], cookie["samesite"]) == ("/lid/", True, "Lax")
