"""The office makes, shows and takes back the links of owners."""

import pytest
from django.urls import reverse

from customers.models import OwnerLink, Party
from tests.make import make_organisation, make_person, make_premises, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def place():
    premises = make_premises(make_organisation())
    owner = make_person(premises.organisation, name="Omar Inglewater")
    Party.objects.create(premises=premises, person=owner, role=Party.Role.OWNER)
    return premises


@pytest.fixture
def office(client, place):
    client.force_login(make_user(place.organisation))
    return client


def make_link(office, place):
    person = place.parties.get().person
    where = reverse("scheduler:owner_link_new", args=[place.public_id, person.pk])
    return office.post(where).content.decode()


def address_in(page):
    return page.split('value="http')[1].split('"')[0].split("/", 3)[3]


def test_the_link_shown_opens_the_owners_page_without_an_account(office, place, client):
    path = "/" + address_in(make_link(office, place))
    client.logout()
    page = client.get(path)
    assert page.status_code == 200
    assert place.name in page.content.decode()


def test_showing_it_again_gives_the_same_row(office, place):
    make_link(office, place)
    make_link(office, place)
    assert OwnerLink.objects.count() == 1


def test_a_link_taken_back_opens_nothing_and_the_next_one_is_new(office, place, client):
    path = "/" + address_in(make_link(office, place))
    link = OwnerLink.objects.get()
    office.post(reverse("scheduler:owner_link_end", args=[link.public_id]))
    make_link(office, place)
    assert OwnerLink.objects.count() == 2
    client.logout()
    assert client.get(path).status_code == 410


def test_no_link_is_made_for_somebody_who_has_nothing_to_do_with_the_place(office, place):
    other = make_person(place.organisation)
    where = reverse("scheduler:owner_link_new", args=[place.public_id, other.pk])
    assert office.post(where).status_code == 404


def test_the_page_of_the_place_says_whether_the_owner_has_looked(office, place):
    make_link(office, place)
    page = office.get(reverse("customers:premises", args=[place.public_id])).content.decode()
    assert "has a link, not opened yet" in page
