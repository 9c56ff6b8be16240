"""Carriers register for three years at most: gov.uk. Warned six weeks before, as NRW does."""

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from customers.carrier import carrier_notice
from tests.make import make_organisation, make_user

TODAY = dt.date(2026, 11, 28)


@pytest.mark.parametrize(
    ("fields", "stops", "words"),
    [
        ({}, True, "is not recorded"),
        ({"carrier_registration": "T-1"}, True, "is not recorded"),
        ({"carrier_valid_to": dt.date(2026, 11, 27)}, True, "ran out on 27 November 2026"),
        ({"carrier_valid_from": dt.date(2026, 12, 1)}, True, "only from 1 December 2026"),
        ({"carrier_valid_to": dt.date(2026, 11, 28)}, False, "runs out on 28 November 2026"),
        ({"carrier_valid_to": dt.date(2027, 1, 9)}, False, "runs out on 9 January 2027"),
    ],
)
def test_what_is_said_of_a_registration(db, fields, stops, words):
    good = {"carrier_registration": "T-1", "carrier_valid_to": dt.date(2028, 1, 1)}
    told = fields if "carrier_registration" in fields or not fields else {**good, **fields}
    notice = carrier_notice(make_organisation(**told), TODAY)
    assert notice.stops is stops
    assert words in notice.text


def test_nothing_is_said_while_all_is_well(db):
    good = {"carrier_registration": "T-1", "carrier_valid_to": dt.date(2027, 1, 10)}
    assert carrier_notice(make_organisation(**good), TODAY) is None


def test_the_desk_warns_of_a_registration_that_runs_out(client, db):
    soon = timezone.now().date() + dt.timedelta(days=20)
    firm = make_organisation(carrier_registration="T-1", carrier_valid_to=soon)
    client.force_login(make_user(firm))
    for name in ("scheduler:desk", "customers:organisation"):
        assert "Renew it with the regulator" in client.get(reverse(name)).content.decode()


def test_who_carries_nothing_is_not_bothered(client, db):
    client.force_login(make_user(make_organisation()))
    assert b"No transfer notes" not in client.get(reverse("scheduler:desk")).content
