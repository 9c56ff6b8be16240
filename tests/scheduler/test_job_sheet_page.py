"""The page a crew fills its sheet in on: who sees what, and what it takes."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from customers.models import Party
from scheduler.models import Job
from servicing.models import Chamber, Dip, System, Visit
from tests.make import (
    make_crew,
    make_job,
    make_organisation,
    make_person,
    make_premises,
    make_round,
    make_stop,
    make_system,
    make_tanker,
    make_user,
)

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 9, tzinfo=dt.UTC)
TODAY = NOW.date()
GATE_CODE = "4711#"


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def installer():
    return make_organisation(name="Installer")


@pytest.fixture
def operator():
    return make_organisation(name="Operator")


@pytest.fixture
def system(installer):
    premises = make_premises(
        installer, name="Barn End", gate_code=GATE_CODE, access_note="By the lower track", dog=True
    )
    return make_system(
        premises=premises,
        lid_latitude=52.51234,
        lid_longitude=-2.81234,
        lid_note="Two metres left of the oak",
        discharge=System.Discharge.DRAINAGE_FIELD,
        tank={"outlet_height_mm": 1200},
    )


@pytest.fixture
def job(system):
    return make_job(system, due_on=TODAY, state=Job.State.AGREED)


@pytest.fixture
def tess(installer):
    return make_user(installer, "crew", name="Tess")


def sheet(job, **fields):
    tank = job.system.tanks.get()
    return {
        "sheet_key": str(uuid.uuid4()),
        "visited_on": TODAY.isoformat(),
        "arrived": "08:10",
        "left": "08:50",
        "ground": "dry",
        "cautions_read": "on",
        "removed": "all",
        "volume_removed": "2700",
        "lid_back_on": "on",
        "no_photo_because": "The camera is broken",
        "signed_how": "nobody",
        f"tank-{tank.pk}-sludge_mm": "300",
        f"tank-{tank.pk}-scum_mm": "60",
        f"tank-{tank.pk}-method": "core_sampler",
        **fields,
    }


def post(client, user, job, data, name="job_sheet"):
    client.force_login(user)
    return client.post(reverse(f"scheduler:{name}", args=[job.public_id]), data)


def page(client, user, job, name="job_sheet"):
    client.force_login(user)
    return client.get(reverse(f"scheduler:{name}", args=[job.public_id]))


def test_nobody_is_asked_to_sign_in(client, job):
    response = client.get(reverse("scheduler:job_sheet", args=[job.public_id]))
    assert response.status_code == 302
    assert response.url.startswith(reverse("login"))


@pytest.mark.parametrize("name", ["job_sheet", "job_recorded"])
def test_a_stranger_gets_404(client, job, operator, name):
    assert page(client, make_user(operator), job, name).status_code == 404
    assert page(client, make_user(name="Sid"), job, name).status_code == 404


@pytest.mark.parametrize("name", ["job_sheet", "job_sheet_abandon"])
def test_a_strangers_sheet_is_404_and_a_readers_403(client, job, installer, operator, name):
    assert post(client, make_user(operator), job, sheet(job), name).status_code == 404
    reader = make_user(installer, "reader")
    assert post(client, reader, job, sheet(job), name).status_code == 403
    assert not Visit.objects.exists()


def test_a_reader_sees_neither_gate_code_nor_form(client, job, installer):
    text = page(client, make_user(installer, "reader"), job).content.decode()
    assert "Two metres left of the oak" in text
    assert GATE_CODE not in text
    assert 'name="lid_back_on"' not in text


def test_the_operators_crew_sees_what_the_job_needs_and_no_more(client, job, operator):
    job.handed_to = operator
    job.save()
    owner = make_person(
        job.organisation, name="Omar", phone="07700 900123", notes="Pays late", email="omar@x.org"
    )
    Party.objects.create(premises=job.system.premises, person=owner, role="owner")
    text = page(client, make_user(operator, "crew"), job).content.decode()
    for needed in (GATE_CODE, "By the lower track", "There is a dog", "07700 900123"):
        assert needed in text
    assert "Pays late" not in text
    assert "omar@x.org" not in text


def test_the_cover_opens_in_the_phones_own_map(client, job, tess):
    # geo URIs: RFC 5870.
    assert 'href="geo:52.512340,-2.812340"' in page(client, tess, job).content.decode()


def test_the_sheet_follows_the_work(client, job, tess):
    Chamber.objects.create(system=job.system, label="IC1")
    text = page(client, tess, job).content.decode()
    parts = ("way", "cautions", "readings", "removal", "chambers", "field", "defects", "after")
    places = [text.index(f'<h2 id="{part}">') for part in parts]
    assert places == sorted(places)


def test_only_a_plant_is_asked_about_its_plant(client, job, tess, installer):
    assert 'name="blower_running"' not in page(client, tess, job).content.decode()
    plant = make_system(installer, kind=System.Kind.PACKAGE_PLANT)
    service = make_job(plant, kind=Job.Kind.SERVICE, due_on=TODAY)
    text = page(client, tess, service).content.decode()
    assert 'name="blower_running"' in text
    assert 'name="surface"' not in text


def test_a_filled_sheet_is_recorded_with_times_of_the_place(client, job, tess):
    response = post(client, tess, job, sheet(job))
    assert response.url == reverse("scheduler:job_recorded", args=[job.public_id])
    visit = Visit.objects.get()
    assert visit.arrived_at == dt.datetime(2026, 11, 25, 8, 10, tzinfo=dt.UTC)
    assert visit.dips.get().sludge_mm == 300
    assert visit.emptying.litres_removed == 2700
    assert visit.cautions_read


def test_summer_time_is_meant_as_clocks_show_it(client, job, tess, time_machine):
    time_machine.move_to(dt.datetime(2026, 7, 1, 12, tzinfo=dt.UTC))
    post(client, tess, job, sheet(job, visited_on="2026-07-01"))
    assert Visit.objects.get().arrived_at == dt.datetime(2026, 7, 1, 7, 10, tzinfo=dt.UTC)


def test_the_next_emptying_is_told_at_once(client, job, tess):
    response = client.get(post(client, tess, job, sheet(job)).url)
    text = response.content.decode()
    assert "next emptying" in text
    assert "by " in text.lower() or "likely between" in text.lower()


def test_gallons_are_put_into_litres(client, job, tess, installer):
    installer.units = "imperial_gallons"
    installer.save()
    assert "imperial" not in page(client, tess, job).content.decode()
    post(client, tess, job, sheet(job, volume_removed="600"))
    # Weights and Measures Act 1985, Schedule 1: a gallon is 4.54609 L.
    assert Visit.objects.get().emptying.litres_removed == pytest.approx(2727.654)


def test_the_round_fills_in_crew_vehicle_and_arrival(client, job, tess, installer):
    tanker = make_tanker(installer, vehicle_registration="T 1")
    crew = make_crew(installer, user=tess, name="Tess and mate")
    planned = make_round(installer, crew, day=TODAY, tanker=tanker)
    make_stop(planned, job=job, arrived_at=dt.datetime(2026, 11, 25, 8, 12, tzinfo=dt.UTC))
    text = page(client, tess, job).content.decode()
    for value in ("T 1", "Tess and mate", "08:12"):
        assert f'value="{value}"' in text


def test_a_chamber_is_recorded_only_when_it_was_opened(client, job, tess):
    chamber = Chamber.objects.create(system=job.system, label="IC1")
    name = f"chamber-{chamber.pk}"
    said = {f"{name}-flow": "", f"{name}-debris": "none", f"{name}-amount": "0"}
    post(client, tess, job, sheet(job, **said))
    assert not Visit.objects.get().chamber_findings.exists()


def test_a_closed_job_shows_what_was_recorded(client, job, tess):
    post(client, tess, job, sheet(job))
    text = page(client, tess, job).content.decode()
    assert "What was recorded" in text
    assert 'name="lid_back_on"' not in text


def test_the_sheet_is_read_with_few_queries(client, job, tess, django_assert_max_num_queries):
    for n in range(6):
        Chamber.objects.create(system=job.system, label=f"IC{n}")
    client.force_login(tess)
    with django_assert_max_num_queries(30):
        client.get(reverse("scheduler:job_sheet", args=[job.public_id]))


def test_what_was_read_is_kept_beside_what_it_came_to(client, job, tess):
    tank = f"tank-{job.system.tanks.get().pk}"
    read = {"way": "notches", "notch_sludge": "7.5", "notch_mm": "50", "method": "dip_stick"}
    told = {name: value for name, value in sheet(job).items() if not name.startswith(tank)}
    client.force_login(tess)
    where = reverse("scheduler:job_sheet", args=[job.public_id])
    told |= {f"{tank}-{name}": value for name, value in read.items()}
    page = client.post(where, told, follow=True)
    assert b"read notches on a stick: sludge 7.5, a notch 50 mm" in page.content
    dip = Dip.objects.get()
    assert dip.sludge_mm == 375
    assert dip.entered == {"way": "notches", "notch_sludge": 7.5, "notch_mm": 50}


def test_figures_under_another_way_than_the_one_chosen_are_asked_about(client, job, tess):
    tank = f"tank-{job.system.tanks.get().pk}"
    client.force_login(tess)
    where = reverse("scheduler:job_sheet", args=[job.public_id])
    page = client.post(where, {**sheet(job), f"{tank}-way": "cover"})
    assert page.status_code == 422
    assert "choose it, or empty them" in page.content.decode()
