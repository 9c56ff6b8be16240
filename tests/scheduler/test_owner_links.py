"""Signed links: what opens, what does not, and who may end one."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied

from customers.models import OwnerLink, Party
from scheduler import owner_links
from scheduler.owner_links import (
    GOOD_FOR,
    MOST_WRITES,
    LinkEnded,
    LinkUnknown,
    TooManyWrites,
    count_write,
    owner_url,
    read_link,
    revoke_link,
)
from tests.make import make_organisation, make_person, make_premises, make_user

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 9, tzinfo=dt.UTC)


@pytest.fixture
def premises():
    return make_premises(make_organisation())


@pytest.fixture
def omar(premises):
    return make_person(premises.organisation, name="Omar")


@pytest.fixture
def token(premises, omar):
    return owner_url(premises=premises, person=omar).split("/")[2]


def test_a_link_opens_the_place_it_was_made_for(token, premises, omar):
    link = read_link(token)
    assert (link.premises, link.person) == (premises, omar)


def test_asking_twice_makes_one_link(premises, omar):
    owner_url(premises=premises, person=omar)
    owner_url(premises=premises, person=omar)
    assert OwnerLink.objects.count() == 1


def test_every_changed_character_is_noticed(token):
    for place, letter in enumerate(token):
        changed = token[:place] + ("A" if letter != "A" else "B") + token[place + 1 :]
        if changed != token:
            with pytest.raises(LinkUnknown):
                read_link(changed)


@pytest.mark.parametrize("nonsense", ["", "x", "a.b.c", "..", "é.é.é", "A" * 5000])
def test_nonsense_is_unknown(nonsense):
    with pytest.raises(LinkUnknown):
        read_link(nonsense)


def test_a_link_taken_back_has_ended_and_a_new_one_can_be_made(token, premises, omar):
    ines = make_user(premises.organisation)
    link = read_link(token)
    revoke_link(link=link, by=ines, now=NOW)
    with pytest.raises(LinkEnded):
        read_link(token)
    fresh = owner_url(premises=premises, person=omar).split("/")[2]
    assert read_link(fresh) != link


@pytest.mark.parametrize("role", ["reader", "crew", "planner", None])
def test_only_who_changes_the_register_takes_a_link_back(token, premises, role):
    other = make_user(premises.organisation if role else None, role or "office")
    with pytest.raises(PermissionDenied):
        revoke_link(link=read_link(token), by=other, now=NOW)
    assert read_link(token)


def test_a_link_grows_too_old(premises, omar, time_machine):
    time_machine.move_to(NOW)
    token = owner_url(premises=premises, person=omar).split("/")[2]
    time_machine.move_to(NOW + GOOD_FOR - dt.timedelta(minutes=1))
    assert read_link(token)
    time_machine.move_to(NOW + GOOD_FOR + dt.timedelta(minutes=1))
    with pytest.raises(LinkEnded):
        read_link(token)


def test_who_has_moved_away_sees_no_more(token, premises, omar):
    party = Party.objects.create(premises=premises, person=omar, role="owner")
    assert read_link(token)
    party.until = dt.date(2020, 1, 1)
    party.save()
    with pytest.raises(LinkEnded):
        read_link(token)


def test_a_person_of_another_firm_gets_no_link(premises):
    sid = make_person(make_organisation(), name="Sid")
    with pytest.raises(ValueError, match="different organisations"):
        owner_url(premises=premises, person=sid)


def test_writes_are_counted_and_stopped(token):
    link = read_link(token)
    for _ in range(MOST_WRITES):
        count_write(link)
    with pytest.raises(TooManyWrites):
        count_write(link)


def test_a_counter_that_ran_out_begins_again(token, monkeypatch):
    def gone(key: str) -> int:
        raise ValueError(key)

    monkeypatch.setattr(owner_links.cache, "incr", gone)
    count_write(read_link(token))
