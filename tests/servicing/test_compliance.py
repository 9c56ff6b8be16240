"""What the rules ask of a system, checked against the rules as published.

General binding rules for small sewage discharges (England), rule 6: only a treatment plant may
discharge to surface water. Permit holders there: emptied at least once a year, discharge area
checked monthly. Wales, Scotland, Northern Ireland, Ireland: registration or consent.
"""

import datetime as dt

import pytest

from customers.models import Party, ProfileRule
from servicing.compliance import carrier_findings, findings_at, findings_in
from servicing.models import OperatorCheck
from tests.make import make_organisation, make_person, make_profile, make_system

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 11, 25)
WELL = {"last_emptied_on": dt.date(2026, 6, 1), "discharge": "drainage_field"}


def system_in(country="england", **fields):
    firm = make_organisation(profile=make_profile(code=country))
    system = make_system(firm, **{**WELL, **fields})
    Party.objects.create(premises=system.premises, person=make_person(firm), role="owner")
    return system


def codes(system):
    return {finding.code: finding.standing for finding in findings_at(system, TODAY)}


def test_nothing_is_found_where_all_is_well():
    assert codes(system_in()) == {}


def test_a_septic_tank_to_a_watercourse_is_against_the_law_in_england():
    finding = findings_at(system_in(discharge="watercourse"), TODAY)[0]
    assert (finding.code, finding.standing) == ("watercourse", "law")
    assert "rule 6" in finding.source
    assert "treatment plant" in finding.to_do


def test_a_plant_may_discharge_to_a_watercourse():
    assert codes(system_in(kind="package_plant", discharge="watercourse")) == {}


@pytest.mark.parametrize("country", ["scotland", "northern-ireland", "ireland"])
def test_where_no_rule_was_read_nothing_is_called_law(country):
    assert "watercourse" not in codes(system_in(country, discharge="watercourse"))


@pytest.mark.parametrize("country", ["wales", "scotland", "northern-ireland", "ireland"])
def test_registration_is_asked_for_by_law_outside_england(country):
    assert codes(system_in(country))["registration"] == "law"
    assert "registration" not in codes(system_in(country, registration="R/1"))


def test_england_asks_no_registration_under_the_general_rules():
    assert "registration" not in codes(system_in(registration=""))


@pytest.mark.parametrize(("country", "standing"), [("england", "guidance"), ("scotland", "law")])
def test_a_year_without_emptying_is_law_only_where_the_rule_was_read(country, standing):
    late = system_in(country, last_emptied_on=dt.date(2025, 11, 24), registration="R/1")
    assert codes(late) == {"emptying": standing}
    in_time = system_in(country, last_emptied_on=dt.date(2025, 11, 25), registration="R/1")
    assert codes(in_time) == {}


def test_what_was_decided_against_guidance_counts_but_not_against_law():
    late = {"last_emptied_on": dt.date(2025, 1, 1), "registration": "R/1"}
    decided = {"ceiling_override_months": 24, "ceiling_override_reason": "Two people, big tank"}
    assert codes(system_in("england", **late, **decided)) == {}
    assert codes(system_in("scotland", **late, **decided)) == {"emptying": "law"}


def test_a_permit_makes_emptying_and_the_monthly_check_law():
    late = system_in(under_permit=True, registration="P/1", last_emptied_on=dt.date(2025, 1, 1))
    assert codes(late) == {"emptying": "law", "check": "law"}


@pytest.mark.parametrize(("days_ago", "late"), [(38, False), (39, True)])
def test_the_monthly_check_is_late_a_week_after_its_month(days_ago, late):
    system = system_in(check_reminders=True)
    OperatorCheck.objects.create(
        organisation=system.organisation,
        system=system,
        checked_on=TODAY - dt.timedelta(days=days_ago),
    )
    assert ("check" in codes(system)) == late


def test_a_registration_that_runs_out_is_named_six_weeks_before():
    assert "registration_ends" in codes(system_in(registration_valid_to=dt.date(2027, 1, 5)))
    assert "registration_ends" not in codes(system_in(registration_valid_to=dt.date(2027, 1, 7)))


def test_a_rule_that_no_longer_holds_is_not_applied():
    system = system_in(discharge="watercourse")
    ProfileRule.objects.filter(
        profile=system.organisation.profile, key="no_septic_to_watercourse"
    ).update(valid_to=dt.date(2026, 1, 1))
    assert codes(system) == {}


def test_a_rule_that_is_only_to_be_checked_is_not_shown_as_law():
    system = system_in(discharge="watercourse")
    ProfileRule.objects.filter(
        profile=system.organisation.profile, key="no_septic_to_watercourse"
    ).update(standing="check")
    assert codes(system) == {"watercourse": "check"}


def test_a_place_without_anybody_and_a_discharge_nobody_knows_are_named():
    system = system_in(discharge="")
    system.premises.parties.all().delete()
    assert set(codes(system)) == {"operator", "discharge"}


def test_the_whole_register_is_read_in_few_queries(django_assert_max_num_queries):
    firm = make_organisation()
    for _ in range(5):
        make_system(firm)
    with django_assert_max_num_queries(3):
        found = findings_in(firm, TODAY)
    assert len({system.pk for system, _ in found}) == 5


def test_the_carriers_own_registration_is_watched():
    firm = make_organisation()
    assert "No registration" in carrier_findings(firm, TODAY)[0]
    firm.carrier_registration, firm.carrier_valid_to = "CB/1", dt.date(2026, 11, 1)
    assert "ran out on 1 November 2026" in carrier_findings(firm, TODAY)[0]
