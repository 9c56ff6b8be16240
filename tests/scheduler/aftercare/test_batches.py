"""Charges as CSV: every line in one batch and no other, harmless in any spreadsheet."""

from __future__ import annotations

import csv
import datetime as dt
import io
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from scheduler.aftercare.batches import COLUMNS, make_batch, void_charge
from scheduler.aftercare.fees import charge_fees_of
from scheduler.models import Charge, ChargeBatch
from tests.make import make_organisation, make_user
from tests.scheduler.aftercare.sold import BEGINS, NOW, sell

pytestmark = pytest.mark.django_db


@pytest.fixture
def firm():
    agreement, system = sell()
    agreement.payer.name = "=HYPERLINK(1)"
    agreement.payer.save()
    charge_fees_of(system.organisation, today=BEGINS)
    return system.organisation


@pytest.fixture
def ines(firm):
    return make_user(firm)


# Python's csv module reads what was written: RFC 4180.
def lines_of(batch):
    return list(csv.DictReader(io.StringIO(batch.content)))


def test_the_sums_of_the_lines_are_the_sums_of_the_batch(firm, ines):
    batch = make_batch(organisation=firm, by=ines, now=NOW)
    rows = lines_of(batch)
    assert tuple(rows[0]) == COLUMNS
    assert sum(Decimal(row["before VAT"]) for row in rows) * 100 == batch.net_pence == 24_000
    assert sum(Decimal(row["VAT"]) for row in rows) * 100 == batch.vat_pence == 1_200
    for row in rows:
        assert Decimal(row["before VAT"]) + Decimal(row["VAT"]) == Decimal(row["with VAT"])


# Cells that begin with = + - @ are run by spreadsheet programs (OWASP, CSV injection).
def test_no_cell_is_run_by_a_spreadsheet(firm, ines):
    rows = lines_of(make_batch(organisation=firm, by=ines, now=NOW))
    assert rows[0]["customer name"] == "'=HYPERLINK(1)"
    cells = [cell for row in rows for name, cell in row.items() if "VAT" not in name]
    assert not [cell for cell in cells if cell[:1] in {"=", "+", "-", "@", "\t", "\r"}]


def test_pressing_twice_makes_no_second_batch_of_the_same(firm, ines):
    first = make_batch(organisation=firm, by=ines, now=NOW)
    assert make_batch(organisation=firm, by=ines, now=NOW) is None
    assert ChargeBatch.objects.get() == first
    assert set(Charge.objects.values_list("state", "batch")) == {("exported", first.pk)}


def test_a_batch_fetched_again_is_the_same_file(client, firm, ines):
    batch = make_batch(organisation=firm, by=ines, now=NOW)
    client.force_login(ines)
    where = reverse("scheduler:charges_file", args=[batch.public_id])
    first = client.get(where).content
    Charge.objects.update(words="changed since")
    assert client.get(where).content == first
    assert first.decode("utf-8-sig") == batch.content


def test_numbers_go_on_by_organisation_and_the_future_waits(firm, ines):
    assert make_batch(organisation=firm, by=ines, now=NOW - dt.timedelta(days=400)) is None
    assert make_batch(organisation=firm, by=ines, now=NOW).number == 1
    _agreement, system = sell()
    charge_fees_of(system.organisation, today=BEGINS)
    other = make_user(system.organisation)
    assert make_batch(organisation=system.organisation, by=other, now=NOW).number == 1


def test_only_the_office_hands_over(firm):
    with pytest.raises(PermissionDenied):
        make_batch(organisation=firm, by=make_user(firm, "planner"), now=NOW)
    with pytest.raises(PermissionDenied):
        make_batch(organisation=firm, by=make_user(make_organisation()), now=NOW)


def test_a_void_charge_is_handed_to_nobody_and_an_exported_one_stays(firm, ines):
    charge = Charge.objects.earliest("pk")
    assert void_charge(charge=charge, because="Goodwill", by=ines).state == "void"
    batch = make_batch(organisation=firm, by=ines, now=NOW)
    assert batch.lines == 1
    other = Charge.objects.get(state="exported")
    assert void_charge(charge=other, because="Too late", by=ines).state == "exported"


def test_the_office_sees_what_is_owed_and_hands_it_over_on_the_page(
    client, firm, ines, time_machine
):
    time_machine.move_to(NOW, tick=False)
    client.force_login(ines)
    page = client.get(reverse("scheduler:charges")).content.decode()
    assert "£252.00" in page
    client.post(reverse("scheduler:charges_batch"))
    assert "CSV" in client.get(reverse("scheduler:charges")).content.decode()
