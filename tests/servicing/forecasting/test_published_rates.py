import pytest

from servicing.forecasting import published_rates as rates
from tests.servicing.forecasting.known import published


def test_mancl_formula_repeats_her_table_to_a_tenth_of_a_year():
    # Mancl 1984 as reproduced in US extension literature (the original paper was not read).
    rows = published("mancl_1984_interval_years.csv")
    years = [rates.mancl_years(float(r["tank_us_gal"]), float(r["persons"])) for r in rows]
    off = [abs(y - float(r["years"])) for y, r in zip(years, rows, strict=True)]
    assert max(off) < 0.1
    exact = [f"{y:.1f}" == r["years"] for y, r in zip(years, rows, strict=True)]
    assert sum(exact) >= 0.9 * len(rows) >= 53


@pytest.mark.parametrize("row", published("nbr_7229_K_days.csv"))
def test_nbr_sludge_is_a_backlog_and_forty_litres_a_year(row):
    # ABNT NBR 7229:1993 Table 3, days of fresh sludge at 1 L/person/day.
    years = int(row["interval_years"])
    for climate, column in (
        ("cold", "coldest_month_le_10C"),
        ("temperate", "coldest_month_10_to_20C"),
        ("warm", "coldest_month_gt_20C"),
    ):
        litres = rates.nbr_sludge_litres(1, years, climate)
        assert litres == float(row[column])
        assert litres == rates.NBR_7229_BACKLOG_LITRES[climate] + 40.0 * years


@pytest.mark.parametrize("row", published("nbr_7229_contributions.csv"))
def test_contributions_are_those_of_the_standard(row):
    # ABNT NBR 7229:1993 Table 1 (an open-source transcription).
    names = {
        "residence": "residence", "hotel": "hotel", "temporary": "temporary lodging",
        "factory": "factory", "office": "office", "public/commercial": "public building",
        "day": "school", "bar": "bar", "restaurant": "restaurant",
        "cinema/theatre/short": "theatre", "public": "public toilet",
    }  # fmt: skip
    use = names[row["use"].split()[0]]
    assert rates.NBR_7229_CONTRIBUTIONS[use] == float(row["sludge_person_equivalent"])


def test_nbr_tank_of_five_persons_adds_up():
    # 1000 + N (C T + K Lf) with N 5, C 130 L, T 1 day, K 65 (1 year, 10-20 C), Lf 1: by hand.
    litres = rates.nbr_tank_litres(
        5, flow_litres_per_day=130, retention_days=1, years=1, climate="temperate"
    )
    assert litres == 1000 + 5 * (130 + 65)


def test_who_factor_is_the_published_one():
    # Franceys, Pickford & Reed 1992 (transcription).
    for row, years in zip(published("who_1992_sludge_factor_F.csv"), range(6), strict=True):
        assert rates.WHO_1992_FACTOR_F["warm"][years] == float(row["above_20C_all_year"])
        assert rates.WHO_1992_FACTOR_F["temperate"][years] == float(row["above_10C_all_year"])
        assert rates.WHO_1992_FACTOR_F["cold"][years] == float(row["below_10C_in_winter"])


@pytest.mark.parametrize(("persons", "litres"), [(1, 2700), (4, 2700), (5, 2880), (10, 3780)])
def test_septic_tank_size_by_approved_document_h2(persons, litres):
    # Approved Document H (England), section H2: 2700 up to 4 users, 180 each further.
    assert rates.approved_document_h2_litres(persons) == litres


@pytest.mark.parametrize(("persons", "litres"), [(2, 2720), (4, 2720), (6, 3080), (12, 4160)])
def test_septic_tank_size_by_bs_6297(persons, litres):
    # NHBC Standards 2020, 5.3.9: 180 P + 2000, P at least 4.
    assert rates.bs6297_litres(persons) == litres


@pytest.mark.parametrize(("persons", "litres"), [(1, 18000), (2, 18000), (5, 38400)])
def test_cesspool_size(persons, litres):
    # Approved Document H (England), section H2: 18000 for 2 users, 6800 each further.
    assert rates.cesspool_litres(persons) == litres


@pytest.mark.parametrize(
    ("houses", "persons"), [((3,), 5), ((4,), 6), ((3, 4), 11), ((3, 3, 3), 14), ((3,) * 6, 24)]
)
def test_design_population_by_bedrooms(houses, persons):
    # British Water Flows and Loads 4: 5 up to 3 bedrooms, +1; x0.9 for 13-25, x0.8 for 26-50.
    assert rates.british_water_population(*houses) == persons


def test_irish_design_population():
    # Irish EPA Code of Practice: 2 bedrooms 4, one more each.
    assert [rates.ireland_population(rooms) for rooms in (1, 2, 3, 5)] == [4, 4, 5, 7]


def test_drainage_field_of_five_persons_in_middling_ground():
    # AD H2 / BS 6297:2007+A1:2008: Vp 4500 s / 150 mm = 30; A = 5 x 30 x 0.25 = 37.5 m2.
    vp = rates.percolation_value(4500)
    assert vp == 30
    assert rates.drainage_field_m2(5, vp) == 37.5
    assert rates.drainage_field_m2(5, vp, after_secondary=True) == 30


@pytest.mark.parametrize("vp", [11.9, 100.1, float("nan")])
def test_ground_that_drains_too_fast_or_too_slowly_is_refused(vp):
    with pytest.raises(ValueError, match="12-100"):
        rates.drainage_field_m2(5, vp)


def test_triggers_are_those_published():
    shares = {
        (row["where"], row["measure"]): row["limit"] for row in published("removal_triggers.csv")
    }
    minnesota = rates.TRIGGER_RULES["minnesota"]
    assert shares["Minnesota", "sludge below outlet-baffle bottom"] == (
        f"< {minnesota.sludge_clear_mm:.0f} mm (12 in)"
    )
    assert shares["Minnesota", "sludge + scum as share of liquid capacity"] == (
        f"> {minnesota.share}"
    )
    holding = rates.TRIGGER_RULES["nebraska holding"].share
    assert shares["Nebraska", "liquid as share of effective capacity"] == f">= {holding:.2f}"


@pytest.mark.parametrize(
    ("celsius", "name"), [(4, "cold"), (10, "cold"), (15, "temperate"), (24, "warm")]
)
def test_climate_classes_are_those_of_nbr_7229(celsius, name):
    assert rates.climate_class(celsius) == name


def test_cold_adds_a_backlog_only_where_winters_are_colder_than_grays():
    assert rates.cold_backlog(5) == 0
    assert rates.cold_backlog(-8) == 54 - 25
    with pytest.raises(ValueError, match="temperature"):
        rates.cold_backlog(500)


@pytest.mark.parametrize("bad", [0, -3, float("nan")])
def test_sizes_for_nobody_are_refused(bad):
    for rule in (rates.approved_document_h2_litres, rates.bs6297_litres, rates.cesspool_litres):
        with pytest.raises(ValueError, match="more than 0"):
            rule(bad)
    with pytest.raises(ValueError, match="bedrooms"):
        rates.ireland_population(0)
    with pytest.raises(ValueError, match="bedrooms"):
        rates.british_water_population()
    with pytest.raises(ValueError, match="1 to 5"):
        rates.nbr_sludge_litres(1, 9, "warm")
