"""How often chambers are looked into: by the accepted risk, by cost, or by the longest interval."""

import datetime as dt

import pytest

from servicing.forecasts import refresh_forecast
from servicing.models import Chamber, ChamberFinding, Visit
from tests.make import make_organisation, make_system

pytestmark = pytest.mark.django_db

TODAY = dt.date(2027, 1, 4)


def looked_at(**settings):
    """A chamber found blocked each spring for four years (invented), and its next look."""
    organisation = make_organisation(**settings)
    system = make_system(organisation, installed_on=dt.date(2020, 3, 1))
    chamber = Chamber.objects.create(system=system, label="IC 1")
    for year in range(2023, 2027):
        visit = Visit.objects.create(
            organisation=organisation,
            system=system,
            visited_on=dt.date(year, 5, 4),
            lid_back_on=True,
        )
        ChamberFinding.objects.create(visit=visit, chamber=chamber, flow="none")
    refresh_forecast(system, today=TODAY)
    chamber.refresh_from_db()
    return chamber


def by_cost(pounds_of_trouble):
    return looked_at(
        dates_by="cost",
        emptying_cost_pence=20_000,
        trouble_cost_pence=pounds_of_trouble * 100,
        look_cost_pence=4_000,
    )


def test_dearer_trouble_calls_for_a_nearer_look_and_the_page_says_that_cost_decides():
    cheap, dear = by_cost(100), by_cost(4_000)
    assert dear.inspect_due_on < cheap.inspect_due_on
    assert "looking more or less often would cost more" in dear.inspect_because


def test_without_the_cost_of_a_look_the_accepted_risk_decides():
    settings = {"emptying_cost_pence": 20_000, "trouble_cost_pence": 90_000, "dates_by": "cost"}
    plain, without = looked_at(), looked_at(**settings)
    assert plain.inspect_due_on == without.inspect_due_on
    assert "as likely as you accept, 10 %" in plain.inspect_because
    assert looked_at(accepted_risk=0.02).inspect_due_on < plain.inspect_due_on


def test_trouble_that_costs_nearly_nothing_still_lets_no_chamber_go_unseen_for_years():
    chamber = by_cost(1)
    assert chamber.inspect_due_on <= dt.date(2027, 5, 4)
    assert "the longest interval we keep to" in chamber.inspect_because
