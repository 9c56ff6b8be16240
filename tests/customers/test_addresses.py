"""Places as people write them, against the Ordnance Survey's worked example, PROJ and ONS data."""

from math import cos, degrees, radians
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from customers.addresses import (
    BRITISH_GRID,
    BRITISH_ISLES,
    IRISH_GRID,
    IRISH_TRANSVERSE_MERCATOR,
    AddressError,
    Grid,
    Position,
    approximate_position,
    looks_swapped,
    read_eastings_northings,
    read_grid_reference,
    read_latitude_longitude,
    read_position,
    read_postcode,
    to_wgs84,
)
from customers.addresses.grids import to_ellipsoid

ONS_POSTCODES = Path(__file__).parent.parent / "data" / "ons_postcodes.txt"


def metres_apart(one: Position, other: Position) -> float:
    north = (one.latitude - other.latitude) * 111_320
    east = (one.longitude - other.longitude) * 111_320 * cos(radians(one.latitude))
    return (north**2 + east**2) ** 0.5


def test_projection_repeats_the_worked_example_of_the_ordnance_survey():
    # "A guide to coordinate systems in Great Britain", annex C: the same point on the Airy ellipsoid
    # is 52°39'27.2531"N, 1°43'4.5177"E.
    latitude, longitude = to_ellipsoid(BRITISH_GRID, 651409.903, 313177.270)
    assert degrees(latitude) == pytest.approx(52 + 39 / 60 + 27.2531 / 3600, abs=3e-8)
    assert degrees(longitude) == pytest.approx(1 + 43 / 60 + 4.5177 / 3600, abs=3e-8)


def test_worked_example_lands_at_its_wgs84_position():
    # Same guide's point after its seven-parameter transformation.
    position = to_wgs84(BRITISH_GRID, 651409.903, 313177.270)
    assert position.latitude == pytest.approx(52.657979, abs=5e-7)
    assert position.longitude == pytest.approx(1.716052, abs=5e-7)


# Computed with PROJ 9.5.1 from EPSG 27700, 29903 and 2157 to EPSG 4326.
PROJ_POSITIONS = [
    (BRITISH_GRID, 250000, 600000, 55.2712494, -4.3625660),
    (BRITISH_GRID, 325000, 673000, 55.9441670, -3.2023862),
    (IRISH_GRID, 200000, 250000, 53.5002116, -8.0007386),
    (IRISH_GRID, 315904, 234671, 53.3497960, -6.2602485),
    (IRISH_GRID, 80000, 60000, 51.7799977, -9.7394992),
    (IRISH_GRID, 300000, 420000, 55.0173886, -6.4374218),
    (IRISH_TRANSVERSE_MERCATOR, 600000, 750000, 53.5, -8.0),
    (IRISH_TRANSVERSE_MERCATOR, 480000, 560000, 51.7794176, -9.7391264),
]


@pytest.mark.parametrize(("grid", "east", "north", "latitude", "longitude"), PROJ_POSITIONS)
def test_grids_agree_with_proj(grid: Grid, east, north, latitude, longitude):
    assert metres_apart(to_wgs84(grid, east, north), Position(latitude, longitude)) < 0.05


@pytest.mark.parametrize(
    "text",
    ["TG 51409 13177", "tg5140913177", "TG 5140913177", "651409.5 313177.5", "651409.5,313177.5"],
)
def test_one_point_in_its_usual_writings_is_one_point(text):
    expected = to_wgs84(BRITISH_GRID, 651409.5, 313177.5)
    assert metres_apart(read_grid_reference(text), expected) < 0.01


def test_short_reference_means_the_middle_of_its_square():
    middle = to_wgs84(BRITISH_GRID, 651450, 313150)
    assert metres_apart(read_grid_reference("TG 514 131"), middle) < 0.01


@pytest.mark.parametrize(
    ("letters", "east", "north"),
    # Corners of the published square diagram of the British grid (the guide, §7.1).
    [("SV", 0, 0), ("SU", 4, 1), ("TQ", 5, 1), ("NN", 2, 7), ("HP", 4, 12), ("OV", 5, 5)],
)
def test_british_square_letters_name_their_square(letters, east, north):
    expected = to_wgs84(BRITISH_GRID, east * 100_000 + 50_500, north * 100_000 + 50_500)
    assert metres_apart(read_grid_reference(f"{letters} 50 50"), expected) < 0.01


def test_one_letter_is_the_irish_grid():
    # Square O holds 300-400 km east and 200-300 km north (published Irish square diagram).
    expected = to_wgs84(IRISH_GRID, 315904.5, 234671.5)
    assert metres_apart(read_grid_reference("O 15904 34671"), expected) < 0.01


def test_bare_figures_follow_the_grid_asked_for():
    position = read_grid_reference("715830 734697", unlettered=IRISH_TRANSVERSE_MERCATOR)
    assert metres_apart(position, Position(53.3497939, -6.2602478)) < 0.05  # PROJ 9.5.1


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("TG 514 1317", "more figures on one side"),
        ("TG 51413", "even count"),
        ("TI 51 13", "no square"),
        ("AA 51 13", "no square"),
        ("I 51 13", "no square"),
        ("field behind the barn", "not a grid reference"),
        ("999999 1", "outside"),
    ],
)
def test_wrong_grid_reference_is_refused_with_the_reason(text, reason):
    with pytest.raises(AddressError, match=reason):
        read_grid_reference(text)


def test_words_for_eastings_are_refused():
    with pytest.raises(AddressError, match="not metres"):
        read_eastings_northings("east", "north")


@pytest.mark.parametrize(
    "text",
    [
        "52.657979, 1.716052",
        "52.657979 1.716052",
        "(52.657979,1.716052)",
        "52.657979N 1.716052E",
        "N52.657979 E1.716052",
        "1.716052E, 52.657979N",
        "52,657979; 1,716052",
        "52° 39' 28.7244\" N, 1° 42' 57.7872\" E",
        "52°39′28.7244″N 1°42′57.7872″E",
        "52 39.47874 N 1 42.96312 E",
    ],
)
def test_latitude_with_longitude_is_read_in_its_common_notations(text):
    assert metres_apart(read_position(text), Position(52.657979, 1.716052)) < 0.05


def test_south_and_west_are_negative():
    assert read_latitude_longitude("34.5 S", "3.2W") == Position(-34.5, -3.2)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("95.2, 1.0", "latitude 95.2"),
        ("52.1, 190", "longitude 190"),
        ("52°75'N 1°E", "60 or more"),
        ("52.6", "not a latitude and a longitude"),
        ("near the oak", "not"),
    ],
)
def test_wrong_position_is_refused_with_the_reason(text, reason):
    with pytest.raises(AddressError, match=reason):
        read_position(text)


def test_exchanged_columns_are_noticed():
    assert looks_swapped(Position(-3.5, 52.4), BRITISH_ISLES)
    assert not looks_swapped(Position(52.4, -3.5), BRITISH_ISLES)
    assert not looks_swapped(Position(-34.5, 150.1), BRITISH_ISLES)


def test_postcodes_of_the_national_directory_are_all_read():
    # The whole directory (2,720,556 rows) was read once on 25 November 2026: all but the 7,084
    # withdrawn codes of NPT and W1M, W1N, W1R, W1V, W1X, W1Y passed.
    codes = [line for line in ONS_POSTCODES.read_text().splitlines() if line and line[0] != "#"]
    assert len(codes) == 260
    for code in codes:
        postcode = read_postcode(code)
        assert postcode.text == f"{code[:4].strip()} {code[4:].strip()}"


@pytest.mark.parametrize("text", ["ab123de", " AB12  3DE ", "AB12-3DE", "AB12 3DE."])
def test_postcode_is_put_in_its_usual_form(text):
    assert read_postcode(text).text == "AB12 3DE"


def test_letter_where_a_figure_must_stand_is_read_as_the_figure():
    assert read_postcode("AB12 OAD").text == "AB12 0AD"


@pytest.mark.parametrize("text", ["A65F4E2", "a65 f4e2", "D02X285", "D6W PV38"])
def test_eircode_is_read_as_irish(text):
    # Examples printed by the Irish government's and the Eircode operator's own pages.
    postcode = read_postcode(text)
    assert postcode.country == "IE"
    assert postcode.text == f"{postcode.district} {postcode.text[-4:]}"


@pytest.mark.parametrize(
    ("text", "reason"),
    [("AB12", "only the first half"), ("AB12 3CI", "not a postcode"), ("12345", "not a postcode")],
)
def test_wrong_postcode_is_refused_with_the_reason(text, reason):
    with pytest.raises(AddressError, match=reason):
        read_postcode(text)


def test_district_middle_is_near_a_point_of_the_district():
    # The ONS directory puts AB10's postcodes in the south-west of its city: mean 57.135, -2.117.
    middle = approximate_position(read_postcode("AB10 1AA"))
    assert middle is not None
    assert metres_apart(middle.position, Position(57.135, -2.117)) < 100
    assert middle.within_km == pytest.approx(2.3)


def test_codes_outside_great_britain_have_no_approximate_position():
    assert approximate_position(read_postcode("BT1 1AA")) is None
    assert approximate_position(read_postcode("A65 F4E2")) is None


@given(st.integers(0, 99_999), st.integers(0, 99_999))
def test_every_full_reference_reads_like_its_figures(east, north):
    lettered = read_grid_reference(f"SO {east:05} {north:05}")
    assert (
        metres_apart(lettered, to_wgs84(BRITISH_GRID, 300_000.5 + east, 200_000.5 + north)) < 0.01
    )


@given(
    st.floats(-89.9, 89.9, allow_nan=False).map(lambda angle: round(angle, 6)),
    st.floats(-179.9, 179.9, allow_nan=False).map(lambda angle: round(angle, 6)),
)
def test_every_decimal_position_survives_being_written(latitude, longitude):
    assert read_position(f"{latitude:.6f}, {longitude:.6f}") == Position(latitude, longitude)
