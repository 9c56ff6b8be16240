"""What a forecast says to its reader: odds, full tanks, dates from before our time, units."""

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from servicing.forecasts import refresh_forecast
from servicing.forecasts.wording import odds_words
from servicing.models import System
from tests.make import make_organisation, make_system, make_user

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.99, "it is almost surely over its limit"),
        (0.9, "the odds are about 9 to 1 that it is over its limit"),
        (0.6, "the odds are about 3 to 2 that it is over its limit"),
        (0.5, "the odds are about even that it is over its limit"),
        (0.25, "the odds are about 3 to 1 that it is still under its limit"),
        (0.01, "it is almost surely still under its limit"),
    ],
)
def test_odds_are_said_as_people_say_them(chance, words):
    assert odds_words(chance) == words


def taken_on(system, day):
    System.objects.filter(pk=system.pk).update(
        created_at=dt.datetime.combine(day, dt.time(9), tzinfo=dt.UTC)
    )


def test_nothing_is_overdue_from_before_we_looked_after_it(client):
    today = timezone.localdate()
    system = make_system(last_emptied_on=today - dt.timedelta(days=6_000), occupancy={"persons": 4})
    ours = today - dt.timedelta(days=400)
    taken_on(system, ours)
    found = refresh_forecast(system, today=today)
    assert found.due_on == ours
    assert "before we looked after it" in " ".join(found.reasons[:-1])
    client.force_login(make_user(system.organisation))
    page = client.get(reverse("servicing:system", args=[system.public_id])).content.decode()
    assert "Overdue by 13 months" in page
    assert "almost surely over its limit" in page


def test_a_full_tank_is_called_full_and_no_range_is_said_twice(client):
    today = timezone.localdate()
    system = make_system(
        kind="cesspool", last_emptied_on=today - dt.timedelta(days=900), occupancy={"persons": 6}
    )
    found = refresh_forecast(system, today=today)
    assert found.is_full
    assert not [line for line in found.reasons if "likely between" in line]
    client.force_login(make_user(system.organisation))
    page = client.get(reverse("servicing:system", args=[system.public_id])).content.decode()
    assert "The tank is full" in page
    assert "likely between" not in page.split("Why then")[0].split("Next emptying")[1]


def test_every_volume_stands_in_the_units_of_the_organisation(client):
    today = timezone.localdate()
    organisation = make_organisation(units="imperial_gallons")
    system = make_system(organisation, last_emptied_on=today - dt.timedelta(days=700))
    found = refresh_forecast(system, today=today)
    client.force_login(make_user(organisation))
    page = client.get(reverse("servicing:system", args=[system.public_id])).content.decode()
    said = " ".join([*found.reasons, *found.assumptions])
    assert " gal" in said
    assert not [word for word in (" L ", " L.", "litres", " L,") if word in said]
    assert " L</" not in page


def test_a_country_may_set_the_limit_by_clear_space():
    # 450 mm of sludge on a floor of 2 m2 are 900 L; a share of scum stands for what floats.
    today = timezone.localdate()
    organisation = make_organisation()
    organisation.profile.rules.filter(key="trigger_share").delete()
    organisation.profile.rules.create(
        key="trigger_sludge_clear_mm", value=900, valid_from=today, standing="guidance", source="-"
    )
    box = {"shape": "rectangular", "length_mm": 2_000, "width_mm": 1_000, "outlet_height_mm": 1_350}
    system = make_system(
        organisation,
        tank={**box, "working_volume_litres": 2_700.0},
        last_emptied_on=today - dt.timedelta(days=300),
    )
    assert refresh_forecast(system, today=today).trigger_litres == pytest.approx(900 / 0.73, 0.01)
