"""The bridge from rows to forecasts and back."""

import datetime as dt

import pytest

from customers.models import ProfileRule
from servicing.forecasts import refresh_forecast, refresh_forecasts
from servicing.models import (
    Chamber,
    ChamberFinding,
    Dip,
    Emptying,
    Forecast,
    PastForecast,
    System,
    Tank,
    Visit,
)
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


def test_a_new_visit_alone_is_worked_out_anew_the_next_day():
    visited, quiet = (make_system(last_emptied_on=dt.date(2026, 3, 1)) for _ in range(2))
    refresh_forecasts(System.objects.all(), today=TODAY)
    add_dip(visited, TODAY, 200)
    tomorrow = TODAY + dt.timedelta(days=1)
    assert refresh_forecasts(System.objects.all(), today=tomorrow) == 1
    assert Forecast.objects.get(system=visited).made_on == tomorrow
    assert Forecast.objects.get(system=quiet).made_on == TODAY


def test_a_level_ages_weekly_and_no_date_moves_with_it():
    system = make_system(measured_organisation(), last_emptied_on=dt.date(2026, 3, 1))
    before = refresh_forecast(system, today=TODAY)
    after = refresh_forecast(system, today=TODAY + dt.timedelta(days=7))
    assert after.level_p50 > before.level_p50
    assert (after.due_on, after.removal_p90) == (before.due_on, before.removal_p90)
    whole = Forecast.objects.get(pk=after.pk)
    Forecast.objects.all().delete()
    anew = refresh_forecast(system, today=TODAY + dt.timedelta(days=7))
    for name in ("level_p10", "level_p50", "level_p90", "over_risk", "due_on", "reasons"):
        assert getattr(anew, name) == getattr(whole, name)


def test_a_cesspool_is_worked_out_every_day():
    system = make_system(
        kind="cesspool",
        tank={"working_volume_litres": 18000},
        last_emptied_on=dt.date(2026, 11, 1),
    )
    before = refresh_forecast(system, today=TODAY)
    assert refresh_forecast(system, today=TODAY + dt.timedelta(days=1)).level_p50 > before.level_p50


def test_a_change_of_settings_is_seen_without_a_visit():
    organisation = measured_organisation()
    system = make_system(organisation, last_emptied_on=dt.date(2026, 3, 1))
    careful = refresh_forecast(system, today=TODAY).due_on
    organisation.accepted_risk = 0.4
    organisation.save(update_fields=["accepted_risk"])
    assert refresh_forecast(system, today=TODAY).due_on > careful


def test_a_run_that_was_stopped_is_finished_by_the_next():
    systems = [make_system(last_emptied_on=dt.date(2026, 3, 1)) for _ in range(4)]
    half = System.objects.filter(pk__lte=systems[1].pk)
    assert refresh_forecasts(half, today=TODAY) == 2
    assert refresh_forecasts(System.objects.all(), today=TODAY) == 2


def test_dates_by_cost_follow_the_costs_and_say_so():
    organisation = measured_organisation()
    system = make_system(organisation, last_emptied_on=dt.date(2026, 3, 1))
    organisation.dates_by, organisation.emptying_cost_pence = "cost", 24_000
    dates = []
    for pounds in (400, 4_000):
        organisation.trouble_cost_pence = pounds * 100
        organisation.save()
        forecast = refresh_forecast(system, today=TODAY)
        dates.append(forecast.due_on)
    assert forecast.binding_rule == "cost"
    assert "set by cost" in forecast.reasons[-1]
    assert dates[1] < dates[0]


def test_a_dip_that_moved_the_date_is_told_with_both_dates():
    system = make_system(measured_organisation(), last_emptied_on=dt.date(2024, 6, 1))
    before = refresh_forecast(system, today=dt.date(2026, 5, 1)).due_on
    add_dip(system, dt.date(2026, 5, 4), 300)
    forecast = refresh_forecast(system, today=TODAY)
    moved = next(line for line in forecast.reasons if "4 May 2026" in line)
    assert "lower than expected" in moved
    assert f"from {before.day} {before:%B %Y}" in moved
    assert f"to {forecast.due_on.day} {forecast.due_on:%B %Y}" in moved


def test_sentences_speak_of_volumes_in_the_organisations_units():
    # 2,800 L are 740 US gallons of 3.785411784 L (NIST Handbook 44).
    organisation = make_organisation(units="us_gallons")
    forecast = refresh_forecast(
        make_system(organisation, last_emptied_on=dt.date(2026, 3, 1)), today=TODAY
    )
    assert any("740 US gal" in line for line in forecast.reasons)
    assert not any(" L " in line for line in forecast.reasons)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"dip": (dt.date(2020, 1, 1), 300), "installed_on": dt.date(2023, 1, 1)},
         "Dip of 1 January 2020: 1 January 2020 is before it was installed"),
        ({"dip": (dt.date(2027, 6, 1), 300)}, "Dip of 1 June 2027: 1 June 2027 has not happened"),
        ({"dip": (dt.date(2026, 6, 1), 9000)}, "Dip of 1 June 2026, volume: must be between 0 and"),
        ({"installed_on": dt.date(1823, 1, 1)}, "Installed on: 1 January 1823 is a century off"),
        ({"last_emptied_on": None}, "Last emptied: no emptying, no installation date"),
        ({"tank": {"shape": "horizontal_cylinder", "diameter_mm": 1000, "length_mm": 2000,
                   "outlet_height_mm": 1400}}, "Outlet height: is above the top of the tank"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_named_with_its_field(change, says):
    reading = change.pop("dip", None)
    system = make_system(**{"last_emptied_on": dt.date(2024, 6, 1), **change})
    if reading:
        add_dip(system, *reading)
    forecast = refresh_forecast(system, today=TODAY)
    assert forecast.level_p50 is None
    assert any(line.startswith(says) for line in forecast.questions)


def test_a_dip_from_before_the_first_known_emptying_is_left_out_and_said():
    system = make_system(last_emptied_on=dt.date(2024, 6, 1))
    add_dip(system, dt.date(2023, 6, 1), 900)
    forecast = refresh_forecast(system, today=TODAY)
    assert forecast.dips_used == 0
    assert any("before the first emptying we know of" in line for line in forecast.assumptions)


def test_the_debris_found_most_is_told_with_what_the_owner_can_do():
    system = make_system(installed_on=dt.date(2020, 1, 1))
    chamber = Chamber.objects.create(system=system, label="IC 1")
    for year in (2025, 2026):
        visit = Visit.objects.create(
            organisation=system.organisation,
            system=system,
            visited_on=dt.date(year, 5, 1),
            lid_back_on=True,
        )
        ChamberFinding.objects.create(visit=visit, chamber=chamber, debris="wipes", amount=3)
    refresh_forecast(system, today=TODAY)
    chamber.refresh_from_db()
    assert chamber.debris_advice.startswith("Mostly wipes found.")
    assert "bin them" in chamber.debris_advice


@pytest.mark.parametrize("kind", ["septic_tank", "cesspool", "package_plant", "grease_trap"])
def test_every_kind_that_is_emptied_gets_a_date_from_its_level(kind):
    system = make_system(measured_organisation(), kind=kind, last_emptied_on=dt.date(2026, 11, 1))
    forecast = refresh_forecast(system, today=TODAY)
    assert forecast.state == Forecast.State.READY
    assert forecast.due_on > TODAY - dt.timedelta(days=30)
    assert (forecast.service_due_on is not None) == (kind == "package_plant")


def test_assumptions_write_days_as_people_do():
    forecast = refresh_forecast(make_system(installed_on=dt.date(2009, 8, 13)), today=TODAY)
    assert any("13 August 2009" in line for line in forecast.assumptions)
    assert not any("2009-08-13" in line for line in forecast.assumptions)
