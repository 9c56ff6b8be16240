"""Whatever is known of a system: either every number is there and in order, or a fault is named."""

from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from hypothesis import Phase, event, given, settings
from hypothesis import strategies as st

from servicing.forecasting.due_date import months_after
from servicing.forecasting.facts import Ceiling, Dip, Emptying, Kind, Method, Spell, SystemFacts
from servicing.forecasting.forecast import forecast_systems
from servicing.forecasting.tanks import Tank
from tests.servicing.forecasting.known import BOX, TODAY

days = st.dates(date(1950, 1, 1), date(2030, 1, 1))
past = st.dates(date(1961, 1, 1), TODAY)
amounts = st.one_of(st.none(), st.floats(0, 2720))
depths = st.floats(0, 600)

dips = st.builds(
    Dip,
    on=past,
    sludge_mm=depths,
    scum_mm=depths,
    litres=amounts,
    method=st.sampled_from(Method),
    after_emptying=st.booleans(),
)
spells = st.builds(
    Spell,
    starts=days,
    persons=st.one_of(st.none(), st.floats(0, 12)),
    weeks_per_year=st.floats(0, 52),
    guests_person_nights=st.floats(0, 500),
    grinder=st.booleans(),
    season=st.one_of(st.none(), st.tuples(st.integers(1, 12), st.integers(1, 12))),
)
systems = st.builds(
    SystemFacts,
    reference=st.just("S"),
    tank=st.sampled_from([Tank(compartments=(BOX,)), Tank(3000.0, (BOX, BOX))]),
    kind=st.sampled_from(Kind),
    installed_on=st.one_of(st.none(), st.dates(date(1905, 1, 1), date(1961, 1, 1))),
    emptyings=st.lists(st.builds(Emptying, on=past, in_part=st.booleans()), max_size=4).map(tuple),
    dips=st.lists(dips, max_size=4).map(tuple),
    occupancy=st.lists(spells, max_size=3).map(tuple),
    bedrooms=st.one_of(st.none(), st.integers(1, 8)),
    ceilings=st.lists(st.builds(Ceiling, st.floats(1, 120), st.just("law")), max_size=2).map(tuple),
    accepted_risk=st.floats(0.01, 0.9),
    year_over_price=st.one_of(st.none(), st.floats(0.1, 100)),
)
BY = (TODAY, TODAY + timedelta(days=365), TODAY + timedelta(days=3650))


@settings(max_examples=200, phases=[Phase.explicit, Phase.reuse, Phase.generate, Phase.shrink])
@given(systems)
def test_a_forecast_is_whole_or_faulty(facts):
    found = forecast_systems([facts], today=TODAY, by=BY, curve_points=5).of(0)
    event(found.state)
    if found.faults:
        assert found.state == "faulty"
        assert np.isnan(found.level_p50)
        return
    assert 0 <= found.level_p10 <= found.level_p50 <= found.level_p90 <= found.working_volume
    assert found.rate_p10 <= found.rate_p50 <= found.rate_p90
    chances = (*found.over_by, 1.0)
    assert all(0 <= sooner <= later for sooner, later in pairwise(chances))
    dates = [found.removal_p10, found.removal_p50, found.removal_p90]
    known = [day for day in dates if day is not None]
    assert known == sorted(known)
    assert dates[: len(known)] == known
    for ceiling in facts.ceilings:
        assert found.due_on <= months_after(found.since, ceiling.months)
    assert found.curve.p50[0] <= found.curve.p50[-1]
