"""The bridge from rows to forecasts and back."""

import datetime as dt

import pytest

from customers.models import ProfileRule
from servicing.forecasts import refresh_forecast, refresh_forecasts
from servicing.models import Chamber, Dip, Emptying, Forecast, PastForecast, System, Tank, Visit
from tests.make import make_organisation, make_system

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 11, 25)


def measured_organisation():
    """An installer that has recorded why it empties by level and not by the year."""
    return make_organisation(
        interval_override_months=120, interval_override_reason="Dipped every year."
    )


def add_dip(system, day, litres):
    visit = Visit.objects.create(
        organisation=system.organisation, system=system, visited_on=day, lid_back_on=True
    )
    depth = {"litres": litres} if litres is not None else {"sludge_mm": 300, "scum_mm": 50}
    return Dip.objects.create(visit=visit, tank=system.tanks.get(), **depth)


def test_guidance_binds_until_somebody_records_another_interval():
    system = make_system(last_emptied_on=dt.date(2026, 3, 1))
    forecast = refresh_forecast(system, today=TODAY)
    assert forecast.binding_rule == "ceiling_guidance"
    assert forecast.due_on == dt.date(2027, 3, 1)  # 12 months, the profile's rule for England
    assert "The level alone would allow more time." in forecast.reasons[-1]


def test_without_the_ceiling_the_risk_binds():
    system = make_system(measured_organisation(), last_emptied_on=dt.date(2026, 3, 1))
    forecast = refresh_forecast(system, today=TODAY)
    assert forecast.binding_rule == "risk"
    assert forecast.due_on == forecast.removal_p10  # accepted risk of 10 % is the tenth percentile


def test_law_is_not_overridden_by_an_organisation():
    organisation = measured_organisation()
    rule = ProfileRule.objects.get(
        profile=organisation.profile, key="interval_months", system_kind="septic_tank"
    )
    rule.standing = ProfileRule.Standing.LAW
    rule.save(update_fields=["standing"])
    forecast = refresh_forecast(
        make_system(organisation, last_emptied_on=dt.date(2026, 3, 1)), today=TODAY
    )
    assert forecast.binding_rule == "ceiling_law"


def test_a_recorded_decision_on_one_system_replaces_the_rule():
    system = make_system(
        last_emptied_on=dt.date(2026, 3, 1),
        ceiling_override_months=30,
        ceiling_override_reason="Consent condition 4 allows thirty months.",
    )
    forecast = refresh_forecast(system, today=TODAY)
    assert forecast.ceiling_on == dt.date(2028, 9, 1)


def test_the_fuller_the_dip_the_earlier_the_date():
    dates = []
    for litres in (200, 500, 800):
        system = make_system(measured_organisation(), last_emptied_on=dt.date(2024, 6, 1))
        add_dip(system, dt.date(2026, 6, 1), litres)
        dates.append(refresh_forecast(system, today=TODAY).due_on)
    assert dates[0] > dates[1] > dates[2]


def test_a_volume_pumped_out_never_feeds_the_rate():
    plain = make_system(measured_organisation(), last_emptied_on=dt.date(2026, 3, 1))
    pumped = make_system(measured_organisation(), last_emptied_on=dt.date(2026, 3, 1))
    visit = Visit.objects.create(
        organisation=pumped.organisation,
        system=pumped,
        visited_on=dt.date(2026, 3, 1),
        lid_back_on=True,
    )
    Emptying.objects.create(visit=visit, litres_removed=9000)
    assert (
        refresh_forecast(pumped, today=TODAY).due_on == refresh_forecast(plain, today=TODAY).due_on
    )


def test_an_abandoned_visit_and_a_corrected_one_do_not_count():
    system = make_system(measured_organisation(), last_emptied_on=dt.date(2024, 6, 1))
    before = refresh_forecast(system, today=TODAY).due_on
    dip = add_dip(system, dt.date(2026, 6, 1), 900)
    dip.visit.abandoned_because = Visit.Abandoned.DOG
    dip.visit.save(update_fields=["abandoned_because"])
    assert refresh_forecast(system, today=TODAY).due_on == before


def test_an_unknown_size_is_assumed_by_approved_document_h2_and_said():
    # Approved Document H2 (England): 2,700 L up to four users, 180 L for each further user.
    # Population by British Water Flows and Loads: 5 for up to three bedrooms, 6 for four.
    system = make_system(
        last_emptied_on=dt.date(2026, 3, 1), bedrooms=4, tank={"working_volume_litres": None}
    )
    forecast = refresh_forecast(system, today=TODAY)
    assert forecast.working_volume_litres == 2700 + 2 * 180
    assert "3,060 L assumed" in forecast.assumptions[0]


def test_an_estimate_by_eye_is_left_out_and_said():
    system = make_system(last_emptied_on=dt.date(2024, 6, 1))
    dip = add_dip(system, dt.date(2026, 6, 1), 900)
    dip.method = Dip.Method.ESTIMATE
    dip.save(update_fields=["method"])
    forecast = refresh_forecast(system, today=TODAY)
    assert forecast.dips_used == 0
    assert any("1 June 2026" in line and "by eye" in line for line in forecast.assumptions)


def test_a_depth_in_a_tank_of_unknown_depth_is_left_out_and_the_date_still_given():
    system = make_system(last_emptied_on=dt.date(2024, 6, 1))
    dip = add_dip(system, dt.date(2026, 6, 1), None)
    forecast = refresh_forecast(system, today=TODAY)
    assert (forecast.state, forecast.dips_used) == (Forecast.State.READY, 0)
    assert any("depth of the tank" in line for line in forecast.assumptions)
    Tank.objects.filter(pk=dip.tank_id).update(outlet_height_mm=1400)
    assert refresh_forecast(system, today=TODAY).dips_used == 1


def test_a_cesspool_speaks_of_sewage_not_of_sludge():
    system = make_system(
        kind="cesspool",
        tank={"working_volume_litres": 18000},
        last_emptied_on=dt.date(2026, 11, 1),
    )
    assert "sewage" in refresh_forecast(system, today=TODAY).reasons[0]


def test_a_system_nobody_knows_anything_of_is_missing_not_guessed():
    forecast = refresh_forecast(make_system(), today=TODAY)
    assert (forecast.state, forecast.due_on) == (Forecast.State.MISSING, None)


def test_refreshing_twice_changes_nothing_and_keeps_one_past_forecast():
    make_system(last_emptied_on=dt.date(2026, 3, 1))
    assert refresh_forecasts(systems=System.objects.all(), today=TODAY) == 1
    assert refresh_forecasts(systems=System.objects.all(), today=TODAY) == 0
    assert PastForecast.objects.count() == 1


def test_a_past_forecast_is_never_rewritten():
    system = make_system(measured_organisation(), last_emptied_on=dt.date(2024, 6, 1))
    said = refresh_forecast(system, today=dt.date(2026, 5, 1)).due_on
    add_dip(system, dt.date(2026, 6, 1), 900)
    refresh_forecast(system, today=TODAY)
    past = list(PastForecast.objects.order_by("made_on").values_list("due_on", flat=True))
    assert past[0] == said
    assert len(past) == 2
    assert past[1] != said


def test_a_chamber_never_falls_due_between_december_and_january():
    # Blockages cluster at Christmas: common practice, no source.
    system = make_system(kind=System.Kind.CHAMBER, tank=None, occupancy=None)
    for number in range(12):
        seen = dt.date(2025, 12, 1) + dt.timedelta(days=30 * number)
        Chamber.objects.create(system=system, label=f"IC {number}", last_inspected_on=seen)
    refresh_forecast(system, today=TODAY)
    months = {chamber.inspect_due_on.month for chamber in Chamber.objects.all()}
    assert months
    assert not months & {12, 1}


def test_the_number_of_queries_does_not_grow_with_the_register(django_assert_max_num_queries):
    organisation = make_organisation()
    for _ in range(30):
        make_system(organisation, last_emptied_on=dt.date(2026, 3, 1))
    with django_assert_max_num_queries(20):
        refresh_forecasts(systems=System.objects.all(), today=TODAY)
