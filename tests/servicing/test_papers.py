"""Issuing: numbered without gaps, once, kept for good, put right by a new paper."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction

from customers.agreement_words import agreement_text
from customers.models import AftercarePlan, Agreement, Party
from servicing import paper_drafts, papers
from servicing.models import Chamber, Defect, Emptying, Paper, PaperIsFinal, Visit
from servicing.paper_drafts import PaperRefused
from tests.make import make_organisation, make_person, make_profile, make_system, make_user
from tests.scheduler.aftercare.sold import sell

TODAY = dt.date(2026, 11, 25)


@pytest.fixture
def firm(db):
    return make_organisation(
        address="1 Yard Lane\nZZ9 9ZZ",
        carrier_registration="TEST-1",
        carrier_valid_from=dt.date(2025, 1, 1),
        carrier_valid_to=dt.date(2028, 1, 1),
    )


@pytest.fixture
def ines(firm):
    return make_user(firm, name="Ines")


@pytest.fixture
def system(firm):
    made = make_system(firm)
    Party.objects.create(
        premises=made.premises, person=make_person(firm, name="Omar"), role="owner"
    )
    return made


def visited(system, **fields):
    told = {
        "visited_on": dt.date(2026, 11, 20),
        "arrived_at": dt.datetime(2026, 11, 20, 9, tzinfo=dt.UTC),
        "left_at": dt.datetime(2026, 11, 20, 10, tzinfo=dt.UTC),
        "lid_back_on": True,
        "crew_name": "Tess",
    }
    visit = Visit.objects.create(
        organisation=system.organisation, system=system, **{**told, **fields}
    )
    Emptying.objects.create(visit=visit, litres_removed=2700, tipped_at="North Works")
    return visit


def issue_record(visit, by, today=TODAY):
    organisation = visit.organisation
    draft = paper_drafts.service_record_draft(visit=visit, organisation=organisation, today=today)
    return papers.issue(draft=draft, organisation=organisation, by=by, today=today)


def issue_note(visit, by, carrier=None, **fields):
    organisation = visit.organisation
    draft = paper_drafts.transfer_note_draft(
        visit=visit, organisation=organisation, carrier=carrier or organisation, **fields
    )
    return papers.issue(draft=draft, organisation=organisation, by=by, today=TODAY)


def test_numbers_count_up_within_a_year_and_begin_anew(system, ines):
    first, second = issue_record(visited(system), ines), issue_record(visited(system), ines)
    third = issue_record(visited(system), ines, today=dt.date(2027, 1, 2))
    numbers = [paper.number for paper in (first, second, third)]
    assert numbers == ["2026-00001", "2026-00002", "2027-00001"]


def test_two_firms_count_apart(system, ines):
    issue_record(visited(system), ines)
    other = make_system()
    assert issue_record(visited(other), make_user(other.organisation)).number == "2026-00001"


def test_a_second_press_gives_the_same_paper(system, ines):
    visit = visited(system)
    assert issue_record(visit, ines) == issue_record(visit, ines, today=dt.date(2026, 12, 1))
    assert Paper.objects.count() == 1


def test_the_database_refuses_a_second_first_paper(system, ines):
    paper = issue_record(visited(system), ines)
    paper.pk, paper._state.adding, paper.sequence = None, True, 7
    paper.public_id, paper.token = "0" * 32, "another"
    with pytest.raises(IntegrityError), transaction.atomic():
        paper.save()


def test_a_corrected_visit_gets_a_paper_that_names_the_old(system, ines):
    old = visited(system)
    first = issue_record(old, ines)
    new = visited(system)
    Visit.objects.filter(pk=old.pk).update(replaced_by=new)
    second = issue_record(Visit.objects.get(pk=old.pk), ines)
    assert (second.visit, second.replaces, second.because) == (new, first, papers.CORRECTED)
    assert issue_record(new, ines) == second
    assert list(Paper.objects.standing()) == [second]


def test_an_issued_paper_cannot_be_changed_or_taken_away(system, ines):
    paper = issue_record(visited(system), ines)
    for attempt in (
        paper.save,
        paper.delete,
        Paper.objects.all().delete,
        lambda: Paper.objects.update(because="x"),
    ):
        with pytest.raises(PaperIsFinal):
            attempt()


def test_the_file_is_what_was_issued(system, ines):
    paper = Paper.objects.get(pk=issue_record(visited(system), ines).pk)
    assert bytes(paper.content).startswith(b"%PDF")
    assert paper.is_untouched
    paper.content = bytes(paper.content) + b" "
    assert not paper.is_untouched


def test_the_facts_say_what_the_paper_says_without_its_pictures(system, ines):
    facts = issue_record(visited(system), ines).facts
    assert ["Taken out", "2,700 L"] in facts["removed"]
    assert "svg" not in str(facts)
    assert facts["times"] == "09:00 to 10:00"


def test_a_mistake_is_put_right_by_a_new_paper_with_its_reason(system, ines):
    old = issue_record(visited(system), ines)
    draft = paper_drafts.same_again(paper=old, today=TODAY)
    told = {"draft": draft, "organisation": old.organisation, "by": ines, "today": TODAY}
    new = papers.issue_again(paper=old, because="Wrong town.", **told)
    assert (new.replaces, new.because, new.number) == (old, "Wrong town.", "2026-00002")
    with pytest.raises(PaperRefused, match="replaced already, by number 2026-00002"):
        papers.issue_again(paper=old, because="Again.", **told)
    with pytest.raises(PaperRefused, match="Say why"):
        papers.issue_again(paper=new, because=" ", **told)


def test_a_transfer_note_names_both_sides_and_the_code(system, ines):
    note = issue_note(visited(system), ines)
    # List of Wastes: 20 03 04, septic tank sludge.
    assert note.facts["waste"]["code"] == "20 03 04"
    assert note.facts["transferor"]["name"] == "Omar"
    assert note.facts["activity_code"] == "none: household"
    assert note.person.name == "Omar"
    assert "about 2.7 t" in note.facts["waste"]["quantity"]


def test_a_cesspool_has_its_own_code(firm, ines):
    # List of Wastes as published for cesspool waste: 16 10 02.
    pool = make_system(firm, kind="cesspool")
    Party.objects.create(premises=pool.premises, person=make_person(firm), role="occupier")
    assert issue_note(visited(pool), ines).facts["waste"]["code"] == "16 10 02"


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"carrier_valid_to": dt.date(2026, 11, 19)}, "ran out on 19 November 2026"),
        ({"carrier_valid_to": None}, "is not recorded"),
        ({"carrier_registration": ""}, "number is not recorded"),
        ({"address": ""}, "carrier's name and address"),
    ],
)
def test_no_note_is_printed_for_a_carrier_that_may_not_carry(system, ines, changed, said):
    type(system.organisation).objects.filter(pk=system.organisation.pk).update(**changed)
    visit = Visit.objects.get(pk=visited(system).pk)
    with pytest.raises(PaperRefused, match=said):
        issue_note(visit, ines)
    assert not Paper.objects.exists()


def test_a_business_is_asked_for_its_activity(firm, ines):
    pub = make_system(firm, occupancy={"use": "bar"})
    Party.objects.create(premises=pub.premises, person=make_person(firm), role="operator")
    visit = visited(pub)
    with pytest.raises(PaperRefused, match="SIC code"):
        issue_note(visit, ines)
    assert issue_note(visit, ines, activity_code="56302").facts["activity_code"] == "56302"


def test_nobody_is_named_where_nobody_is_known(firm, ines):
    with pytest.raises(PaperRefused, match="transferor's name"):
        issue_note(visited(make_system(firm)), ines)


def test_a_note_needs_an_emptying_of_our_own(system, ines):
    by_others = visited(system, carried_out_by_others=True)
    with pytest.raises(PaperRefused, match="theirs to give"):
        issue_note(by_others, ines)
    Emptying.objects.filter(visit=by_others).delete()
    with pytest.raises(PaperRefused, match="nothing to transfer"):
        issue_note(Visit.objects.get(pk=by_others.pk), ines)


def test_northern_ireland_wants_the_destination(ines, firm):
    # Controlled Waste (Duty of Care) Regulations (NI) 2002, reg 2: origin and destination.
    firm.profile = make_profile(code="northern-ireland")
    firm.save(update_fields=["profile"])
    system = make_system(firm)
    Party.objects.create(premises=system.premises, person=make_person(firm), role="owner")
    visit = visited(system)
    Emptying.objects.update(tipped_at="")
    with pytest.raises(PaperRefused, match="destination"):
        issue_note(Visit.objects.get(pk=visit.pk), ines)


def test_a_season_ticket_lists_the_collections_of_its_season(system, ines):
    visited(system)
    visited(system, visited_on=dt.date(2025, 3, 1))
    draft = paper_drafts.season_ticket_draft(
        system=system,
        carrier=system.organisation,
        begins_on=dt.date(2026, 4, 1),
        ends_on=dt.date(2027, 3, 31),
    )
    paper = papers.issue(draft=draft, organisation=system.organisation, by=ines, today=TODAY)
    assert [one["on"] for one in paper.facts["collections"]] == ["2026-11-20"]
    again = paper_drafts.same_again(paper=paper, today=TODAY)
    assert papers.plain(again.facts) == paper.facts


def test_a_handover_pack_names_nobody_and_tells_everything_else(system, ines):
    Chamber.objects.create(system=system, label="IC1", latitude=52.5, longitude=-2.9)
    visit = visited(system)
    Defect.objects.create(visit=visit, what="Outlet tee missing", severity="repair")
    draft = paper_drafts.handover_pack_draft(premises=system.premises, today=TODAY)
    paper = papers.issue(draft=draft, organisation=system.organisation, by=ines, today=TODAY)
    told = str(paper.facts)
    assert "rule 13" in paper.facts["notice_law"]
    for words in ("Emptied, 2,700 L taken away", "Outlet tee missing", "every 12 months", "IC1"):
        assert words in told
    assert "Omar" not in told
    assert "Tess" not in told


def test_a_septic_tank_to_a_watercourse_is_told_to_the_buyer(system):
    # General binding rules for small sewage discharges (England), rule 6.
    system.discharge = "watercourse"
    system.save()
    pack = paper_drafts.handover_pack_draft(premises=system.premises, today=TODAY).facts
    assert "rule 6" in pack.systems[0].warnings[0]


def test_the_same_pack_twice_is_one_and_a_changed_one_is_another(system, ines):
    def pack():
        draft = paper_drafts.handover_pack_draft(premises=system.premises, today=TODAY)
        return papers.issue(draft=draft, organisation=system.organisation, by=ines, today=TODAY)

    first = pack()
    assert pack() == first
    visited(system)
    assert pack() != first


def test_a_place_without_a_system_has_no_pack(system):
    system.retired_on = TODAY
    system.save()
    with pytest.raises(PaperRefused, match="nothing to hand over"):
        paper_drafts.handover_pack_draft(premises=system.premises, today=TODAY)


@pytest.fixture
def agreement(system):
    plan = AftercarePlan.objects.create(
        organisation=system.organisation, name="Watch", price_pence=18000, emptyings_per_year=1
    )
    return Agreement.objects.create(
        organisation=system.organisation,
        premises=system.premises,
        plan=plan,
        starts_on=dt.date(2026, 1, 1),
        ends_on=dt.date(2026, 12, 31),
        price_pence=18000,
        renews_itself=True,
    )


def test_an_agreement_and_its_renewal_are_issued_once_each(agreement, ines):
    told = {"organisation": agreement.organisation, "by": ines, "today": TODAY}
    paper = papers.issue(
        draft=paper_drafts.agreement_draft(agreement=agreement, today=TODAY), **told
    )
    assert paper.facts["price"]["net"] == "£180.00"
    draft = paper_drafts.renewal_notice_draft(
        agreement=agreement, new_price_pence=19000, today=TODAY, reason="Tipping costs more."
    )
    notice = papers.issue(draft=draft, **told)
    assert notice.facts["new_ends_on"] == "2027-12-31"
    assert papers.issue(draft=draft, **told) == notice
    for one in (paper, notice):
        again = paper_drafts.same_again(paper=one, today=TODAY)
        assert papers.plain(again.facts) == one.facts


# By hand, from single prices of 180 and 60: three quarters of 240.00 at 0 % (VAT Act 1994, Schedule
# 8, Group 2: emptying; from memory, check) and one quarter, 60.00, at 20 %: 12.00, in all 252.00.
# Of 300.00: 75.00 at 20 %, in all 315.00.
@pytest.mark.django_db
def test_a_consumer_sees_on_paper_what_is_paid_with_vat_as_the_offer_words_it():
    agreement, _ = sell()
    paper = paper_drafts.agreement_draft(agreement=agreement, today=TODAY).facts
    rates = (("0 %", "£180.00", "£0.00"), ("20 %", "£60.00", "£12.00"))
    assert (paper.price.net, paper.price.vat, paper.price.total) == ("£240.00", rates, "£252.00")
    offered = agreement_text(agreement, today=TODAY, until=TODAY)
    assert "Before VAT £240.00, VAT £12.00, together £252.00." in offered
    notice = paper_drafts.renewal_notice_draft(
        agreement=agreement, new_price_pence=30000, today=TODAY, reason="Tipping costs more."
    ).facts
    assert (notice.old_price.total, notice.new_price.total) == ("£252.00", "£315.00")


def test_a_price_does_not_change_without_a_reason(agreement):
    with pytest.raises(PaperRefused, match="give the reason"):
        paper_drafts.renewal_notice_draft(agreement=agreement, new_price_pence=19000, today=TODAY)


@pytest.mark.parametrize(("role", "may"), [("crew", True), ("reader", False)])
def test_a_crew_issues_what_follows_from_a_visit_and_a_reader_nothing(system, role, may):
    user, visit = make_user(system.organisation, role), visited(system)
    if may:
        assert issue_record(visit, user)
    else:
        with pytest.raises(PermissionDenied):
            issue_record(visit, user)


def test_a_crew_issues_no_handover_pack(system):
    draft = paper_drafts.handover_pack_draft(premises=system.premises, today=TODAY)
    tess = make_user(system.organisation, "crew")
    with pytest.raises(PermissionDenied):
        papers.issue(draft=draft, organisation=system.organisation, by=tess, today=TODAY)


def test_who_sees_a_paper(system, ines):
    paper = issue_record(visited(system), ines)
    sid = make_user(make_organisation())
    assert list(Paper.objects.visible_to(ines)) == [paper]
    assert not Paper.objects.visible_to(sid).exists()


def test_a_paper_of_a_carrier_is_seen_by_the_firm_of_the_place_and_the_carrier(system, ines):
    carrier = make_organisation(
        address="2 Dock", carrier_registration="T-2", carrier_valid_to=dt.date(2028, 1, 1)
    )
    visit, tess = visited(system), make_user(carrier, "crew")
    draft = paper_drafts.transfer_note_draft(visit=visit, organisation=carrier, carrier=carrier)
    paper = papers.issue(draft=draft, organisation=carrier, by=tess, today=TODAY)
    assert paper.facts["carrier"]["name"] == carrier.name
    assert list(Paper.objects.visible_to(ines)) == [paper]
    assert issue_note(visit, ines) == paper
