"""What proves past visits on the owner's page: for Omar in his own days, for nobody else."""

import datetime as dt

import pytest
from django.urls import reverse

from customers.models import Party
from scheduler.owner_links import owner_url
from servicing.models import Visit
from tests.make import make_organisation, make_person, make_photo, make_premises, make_system

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 9, tzinfo=dt.UTC)
THEN = dt.date(2026, 5, 1)


@pytest.fixture(autouse=True)
def _clock(time_machine, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def firm():
    return make_organisation(name="Firm", phone="01632 960 111")


@pytest.fixture
def system(firm):
    return make_system(premises=make_premises(firm, name="Mill House"))


def visited(system, **fields):
    told = {"visited_on": THEN, "signed_how": "drawn", "signed_by": "Omar", **fields}
    return Visit.objects.create(
        organisation=system.organisation,
        system=system,
        lid_back_on=True,
        signature="M1 1L90 9" if told["signed_how"] == "drawn" else "",
        **told,
    )


def link_of(system, name="Omar", *, role="owner", since=None, until=None, language=""):
    person = make_person(system.organisation, name=name, language=language)
    Party.objects.create(
        premises=system.premises, person=person, role=role, since=since, until=until
    )
    return owner_url(premises=system.premises, person=person)


def photo_url(link, photo):
    return reverse("scheduler:owner_photo", args=[link.split("/")[2], photo.public_id])


def test_the_owner_sees_what_was_found_and_the_cover_back_on(client, system):
    visit = visited(system)
    found, back = make_photo(visit, kind="found"), make_photo(visit)
    before = make_photo(visit, kind="lid_before")
    link = link_of(system)
    page = client.get(link).content.decode()
    assert "Signed on the screen: Omar" in page
    assert "M1 1L90 9" not in page
    assert 'alt="Photo 1: what was found, 1 May 2026"' in page
    assert 'alt="Photo 2: the cover back on, 1 May 2026"' in page
    assert {photo_url(link, one) in page for one in (found, back)} == {True}
    assert photo_url(link, before) not in page
    assert client.get(photo_url(link, before)).status_code == 404


def test_the_picture_comes_with_safe_headers_and_is_not_kept_on_the_way(client, system):
    answer = client.get(photo_url(link_of(system), make_photo(visited(system))))
    assert answer.status_code == 200
    assert answer.content[:2] == b"\xff\xd8"
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert answer["Cache-Control"] == "private, no-store"
    assert answer["X-Robots-Tag"] == "noindex, nofollow"


@pytest.mark.parametrize(
    ("days", "seen"),
    [
        ({"since": THEN}, True),
        ({"until": dt.date(2026, 12, 31)}, True),
        ({"since": THEN + dt.timedelta(days=1)}, False),
    ],
)
def test_only_visits_of_their_own_days_are_proved(client, system, days, seen):
    photo = make_photo(visited(system, signed_by="Wilma"))
    link = link_of(system, **days)
    page = client.get(link).content.decode()
    assert ("Wilma" in page, photo_url(link, photo) in page) == (seen, seen)
    assert client.get(photo_url(link, photo)).status_code == (200 if seen else 404)


def test_a_link_of_another_place_shows_nothing_of_this_one(client, firm, system):
    photo = make_photo(visited(system))
    sids = link_of(make_system(premises=make_premises(firm, name="Other")), "Sid")
    assert client.get(photo_url(sids, photo)).status_code == 404
    assert client.get(photo_url("/place/nonsense/", photo)).status_code == 404


def test_who_only_lives_there_is_not_told_another_name(client, system):
    visited(system, signed_by="Omar")
    page = client.get(link_of(system, "Sid", role="occupier")).content.decode()
    assert "Signed on the screen" in page
    assert "Omar" not in page


@pytest.mark.parametrize(
    ("told", "english", "welsh"),
    [
        (
            {"signed_how": "typed"},
            "Signed by typing the name: Omar",
            "Llofnodwyd drwy deipio&#x27;r enw: Omar",
        ),
        (
            {"signed_how": "nobody", "signed_by": ""},
            "Nobody was at home to sign",
            "Nid oedd neb gartref i lofnodi",
        ),
        ({"signed_by": ""}, "Signed on the screen", "Llofnodwyd ar y sgrin"),
    ],
)
def test_how_it_was_signed_is_said_in_both_languages(client, system, told, english, welsh):
    make_photo(visited(system, **told))
    assert english in client.get(link_of(system)).content.decode()
    page = client.get(link_of(system, "Olwen", language="cy")).content.decode()
    assert welsh in page
    assert "Llun 1: y clawr yn ôl yn ei le, " in page


def test_a_visit_put_right_shows_its_photographs_once(client, system):
    new = visited(system)
    old = visited(system)
    old.replaced_by = new
    old.save()
    photo = make_photo(new)
    stray = make_photo(old)
    link = link_of(system)
    page = client.get(link).content.decode()
    assert page.count(f'src="{photo_url(link, photo)}"') == 1
    assert client.get(photo_url(link, stray)).status_code == 404
