"""Turning pages: every row once, in order, forwards and back."""

from __future__ import annotations

from itertools import chain

import pytest

from customers.models import Person
from customers.paging import count_to, stretch_of
from tests.make import make_organisation, make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def people():
    organisation = make_organisation()
    for name in ["Ada", "Bo", "Bo", "Bo", "Cy", "Di", "Ed"]:
        make_person(organisation, name=name)
    return Person.objects.filter(organisation=organisation)


def walk(rows, asked, side):
    found = []
    while True:
        stretch = stretch_of(rows, by="name", asked=asked, size=2)
        found.append([one.pk for one in stretch.rows])
        if not getattr(stretch, side):
            return found
        asked = {side: getattr(stretch, side)}


def test_forwards_every_row_comes_once_even_among_namesakes(people):
    expected = list(people.order_by("name", "pk").values_list("pk", flat=True))
    assert list(chain(*walk(people, {}, "after"))) == expected


def test_backwards_gives_the_same_pages(people):
    forwards = walk(people, {}, "after")
    last = forwards[-1]
    row = people.get(pk=last[0])
    backwards = walk(people, {"before": f"{row.name}~{row.pk}"}, "before")
    assert backwards == forwards[-2::-1]


def test_the_first_page_has_no_way_back_and_the_last_none_on(people):
    first = stretch_of(people, by="name", asked={}, size=4)
    assert (first.before, bool(first.after)) == ("", True)
    last = stretch_of(people, by="name", asked={"after": first.after}, size=4)
    assert (bool(last.before), last.after) == (True, "")


@pytest.mark.parametrize("garbled", ["x", "~", "Bo~x", "~~", "Bo~-1"])
def test_a_garbled_place_shows_the_first_page(people, garbled):
    shown = stretch_of(people, by="name", asked={"after": garbled}, size=2)
    assert [one.name for one in shown.rows] == ["Ada", "Bo"]


def test_a_garbled_day_shows_the_first_page(people):
    shown = stretch_of(people, by="created_at", asked={"after": "yesterday~3"}, size=2)
    assert len(shown.rows) == 2


def test_counting_stops_at_the_limit(people):
    assert count_to(people, limit=5) == (5, True)
    assert count_to(people, limit=7) == (7, False)
