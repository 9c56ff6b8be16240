"""Pages of papers: issued by a press, fetched, put right, checked by anybody."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.urls import reverse

from customers.models import AftercarePlan, Agreement
from servicing.models import Paper
from servicing.papers import check_address
from tests.make import make_organisation, make_system, make_user
from tests.servicing.test_papers import TODAY, firm, ines, issue_record, system, visited

__all__ = ["firm", "ines", "system"]


@pytest.fixture
def office(client, ines):
    client.force_login(ines)
    return client


def test_a_service_record_is_issued_by_one_press_and_then_listed(office, system):
    visit = visited(system)
    where = reverse("servicing:papers", args=[system.premises.public_id])
    assert b"Issue the service record" in office.get(where).content
    made = office.post(reverse("servicing:service_record", args=[visit.public_id]), follow=True)
    assert "Service record" in made.content.decode()
    page = office.get(where).content.decode()
    assert "Issue the service record" not in page
    assert Paper.objects.get().number in page


def test_the_file_comes_as_it_was_issued(office, system, ines):
    paper = issue_record(visited(system), ines)
    response = office.get(reverse("servicing:paper_file", args=[paper.public_id]))
    assert response.content == bytes(paper.content)
    assert response["Content-Type"] == "application/pdf"
    assert paper.number in response["Content-Disposition"]
    assert "no-store" in response["Cache-Control"]


def test_anybody_may_check_a_paper_and_learns_no_name_and_no_place(client, system, ines):
    paper = issue_record(visited(system), ines)
    page = client.get(reverse("servicing:paper_check", args=[paper.token])).content.decode()
    assert "It stands." in page
    assert paper.number in page
    assert str(system.organisation) in page
    for secret in (
        str(system.premises),
        system.reference,
        system.premises.postcode,
        "Omar",
        "Tess",
    ):
        assert secret not in page


def test_a_replaced_paper_is_said_to_be_replaced(client, office, system, ines):
    old = issue_record(visited(system), ines)
    where = reverse("servicing:paper_again", args=[old.public_id])
    office.post(where, {"because": "Wrong day."})
    new = Paper.objects.get(replaces=old)
    client.logout()
    page = client.get(reverse("servicing:paper_check", args=[old.token])).content.decode()
    assert "Replaced." in page
    assert new.number in page
    assert "Wrong day." not in page


def test_a_guessed_token_checks_nothing(client, db):
    response = client.get(reverse("servicing:paper_check", args=["guess"]))
    assert response.status_code == 404
    assert b"issued no paper" in response.content


def test_the_address_on_a_paper_is_the_one_that_answers(client, system, ines, settings):
    settings.SITE_ADDRESS = "https://ebbmark.example"
    paper = issue_record(visited(system), ines)
    address = check_address(paper.token)
    assert client.get(address.removeprefix("https://ebbmark.example")).status_code == 200


def test_reasons_against_a_season_ticket_stand_on_the_form(office, system):
    system.organisation.carrier_valid_to = dt.date(2026, 12, 1)
    system.organisation.save()
    where = reverse("servicing:season_ticket", args=[system.public_id])
    told = {"begins_on": "2026-11-25", "ends_on": "2027-12-24", "activity_code": "5510"}
    page = office.post(where, told).content.decode()
    assert "twelve months at most" in page
    assert "ran out on 1 December 2026" in page
    assert not Paper.objects.exists()


@pytest.mark.parametrize("code", ["5510", "55100", "55.10", "55.10/1", ""])
def test_activity_codes_as_people_write_them_are_taken(office, system, code):
    # SIC 2007 (Office for National Statistics): classes of four figures, subclasses of five.
    where = reverse("servicing:season_ticket", args=[system.public_id])
    told = {"begins_on": "2026-11-25", "ends_on": "2027-11-24", "activity_code": code}
    assert office.post(where, told).status_code == 302


def test_what_cannot_be_an_activity_code_is_refused_at_the_field(office, system):
    where = reverse("servicing:season_ticket", args=[system.public_id])
    told = {"begins_on": "2026-11-25", "ends_on": "2027-11-24", "activity_code": "hotel"}
    assert "four or five figures, such as" in office.post(where, told).content.decode()


def test_an_agreement_is_put_on_paper_and_its_renewal_announced(office, system):
    plan = AftercarePlan.objects.create(
        organisation=system.organisation, name="Watch", price_pence=18000
    )
    agreement = Agreement.objects.create(
        organisation=system.organisation, premises=system.premises, plan=plan,
        starts_on=TODAY, ends_on=dt.date(2027, 11, 24), price_pence=18000,
    )  # fmt: skip
    office.post(reverse("servicing:agreement_paper", args=[agreement.public_id]))
    where = reverse("servicing:renewal_notice", args=[agreement.public_id])
    told = {"new_price_pence": str(Decimal("190.00"))}
    assert "give the reason" in office.post(where, told).content.decode()
    office.post(where, {**told, "reason": "Tipping costs more."})
    assert set(Paper.objects.values_list("kind", flat=True)) == {"agreement", "renewal_notice"}


def test_a_handover_pack_is_issued_by_one_press(office, system):
    where = reverse("servicing:handover_pack", args=[system.premises.public_id])
    assert office.post(where).status_code == 302
    assert Paper.objects.get().kind == "handover_pack"


def test_labels_lead_to_the_covers_address(office, system, settings):
    settings.SITE_ADDRESS = "https://ebbmark.example"
    response = office.get(reverse("servicing:system_label", args=[system.public_id]))
    assert response.content.startswith(b"%PDF")
    assert str(system.public_id).encode() not in response["Content-Disposition"].encode()
    everybody = office.get(reverse("servicing:labels"), {"words": "nothing like it"})
    assert everybody.status_code == 404


def test_a_stranger_finds_no_paper(client, system, ines):
    paper = issue_record(visited(system), ines)
    client.force_login(make_user(make_organisation()))
    for name in ("paper", "paper_file", "paper_again"):
        assert client.get(reverse(f"servicing:{name}", args=[paper.public_id])).status_code == 404


def test_a_reader_looks_and_issues_nothing(client, system):
    visit = visited(system)
    client.force_login(make_user(system.organisation, "reader"))
    where = reverse("servicing:service_record", args=[visit.public_id])
    assert client.post(where).status_code == 403
    page = client.get(reverse("servicing:papers", args=[system.premises.public_id])).content
    assert b"Issue the" not in page


def test_papers_of_another_firm_are_not_listed(office, system):
    other = make_system()
    issue_record(visited(other), make_user(other.organisation))
    page = office.get(reverse("servicing:papers", args=[system.premises.public_id]))
    assert b"No paper has been issued" in page.content
