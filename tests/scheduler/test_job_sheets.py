"""The crew's sheet: closing a job by what was found, and the page it is filled in on."""

import datetime as dt
import uuid

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from customers.models import Party
from scheduler import booking
from scheduler.job_sheets import close_job_sheet
from scheduler.models import Job, Message
from servicing.models import Chamber, System, Visit
from servicing.visit_facts import RemovalFound, VisitFound, VisitRefused
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


def found(**fields):
    return VisitFound(visited_on=TODAY, lid_back_on=True, **fields)


# --- The verb ---


def test_recording_finishes_the_job_and_tells_the_owner(job, tess):
    owner = make_person(job.organisation)
    Party.objects.create(premises=job.system.premises, person=owner, role="owner")
    told = found(removal=RemovalFound(litres_removed=2700))
    visit = close_job_sheet(job=job, found=told, by=tess, now=NOW)
    job.refresh_from_db()
    assert (job.state, job.visit) == (Job.State.DONE, visit)
    assert Message.objects.filter(job=job, person=owner).count() == 1


def test_closing_twice_with_one_sheet_is_one_visit(job, tess):
    told = found()
    first = close_job_sheet(job=job, found=told, by=tess, now=NOW)
    assert close_job_sheet(job=job, found=told, by=tess, now=NOW) == first
    assert Visit.objects.count() == 1


def test_a_second_sheet_for_a_closed_job_is_told_so(job, tess):
    close_job_sheet(job=job, found=found(), by=tess, now=NOW)
    with pytest.raises(booking.NotPossible, match="not recorded a second time"):
        close_job_sheet(job=job, found=found(), by=tess, now=NOW)
    assert Visit.objects.count() == 1


def test_abandoning_makes_the_work_wanted_again(job, tess):
    told = found(abandoned_because=Visit.Abandoned.DOG)
    close_job_sheet(job=job, found=told, by=tess, now=NOW)
    job.refresh_from_db()
    after = job.followed_by.get()
    assert (job.state, after.state) == (Job.State.ABANDONED, Job.State.WANTED)
    job.system.refresh_from_db()
    assert job.system.last_emptied_on is None


def test_a_refused_sheet_leaves_job_and_history_alone(job, tess):
    with pytest.raises(VisitRefused):
        close_job_sheet(
            job=job,
            found=VisitFound(visited_on=TODAY, lid_back_on=False),
            by=tess,
            now=NOW,
        )
    job.refresh_from_db()
    assert job.state == Job.State.AGREED
    assert not Visit.objects.exists()


def test_an_operators_crew_closes_the_job_handed_to_it(job, operator):
    job.handed_to = operator
    job.save()
    visit = close_job_sheet(job=job, found=found(), by=make_user(operator, "crew"), now=NOW)
    assert visit.organisation == job.organisation


def test_an_operator_does_not_close_a_job_it_was_not_given(job, operator):
    with pytest.raises(PermissionDenied):
        close_job_sheet(job=job, found=found(), by=make_user(operator, "crew"), now=NOW)


def test_today_is_the_day_at_the_place_not_in_utc(job, tess):
    job.system.premises.time_zone = "Pacific/Auckland"
    job.system.premises.save()
    tomorrow = VisitFound(visited_on=TODAY + dt.timedelta(days=1), lid_back_on=True)
    late = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)  # one in the morning of the 26th there
    assert close_job_sheet(job=job, found=tomorrow, by=tess, now=late)


# --- Who sees and who may ---


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


# --- The page ---


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


def test_a_double_press_records_one_visit(client, job, tess):
    twice = sheet(job)
    assert post(client, tess, job, twice).status_code == 302
    assert post(client, tess, job, twice).status_code == 302
    assert Visit.objects.count() == 1


def test_two_crews_on_one_job_are_told_plainly(client, job, tess):
    post(client, tess, job, sheet(job))
    response = post(client, make_user(job.organisation, "crew"), job, sheet(job))
    assert "not recorded a second time" in client.get(response.url).content.decode()
    assert Visit.objects.count() == 1


def test_gallons_are_put_into_litres(client, job, tess, installer):
    installer.units = "imperial_gallons"
    installer.save()
    assert "imperial" not in page(client, tess, job).content.decode()
    post(client, tess, job, sheet(job, volume_removed="600"))
    # Weights and Measures Act 1985, Schedule 1: a gallon is 4.54609 L.
    assert Visit.objects.get().emptying.litres_removed == pytest.approx(2727.654)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"visited_on": "2026-11-26"}, "This day has not come yet."),
        ({"visited_on": "nonsense"}, "Give a day of the calendar."),
        ({"lid_back_on": ""}, "Put the cover back on"),
        ({"cautions_read": ""}, "Read the cautions"),
        ({"removed": "none"}, "This job is an emptying."),
        ({"removed": ""}, "Say what was taken out."),
        ({"volume_removed": ""}, "Say how much was taken out."),
        ({"removed": "part"}, "Say about how much sludge stayed in."),
        ({"volume_removed": "-3"}, "greater than or equal to 0"),
        ({"left": "07:00"}, "The crew left before it arrived."),
    ],
)
def test_what_is_wrong_is_told_and_nothing_typed_is_lost(client, job, tess, change, message):
    response = post(client, tess, job, sheet(job, who_was_present="Mrs Hay", **change))
    assert response.status_code == 422
    text = response.content.decode()
    assert message in text
    assert 'value="Mrs Hay"' in text
    assert not Visit.objects.exists()


def test_a_reading_deeper_than_the_tank_is_told_at_its_field(client, job, tess):
    tank = job.system.tanks.get()
    response = post(client, tess, job, sheet(job, **{f"tank-{tank.pk}-sludge_mm": "1900"}))
    form = response.context["sheet"].dips[0]
    assert "deeper than the tank" in form.errors["sludge_mm"][0]


def test_an_unlikely_volume_can_be_confirmed(client, job, tess):
    unlikely = sheet(job, volume_removed="5000")
    response = post(client, tess, job, unlikely)
    assert 'name="sure"' in response.content.decode()
    assert post(client, tess, job, {**unlikely, "sure": "on"}).status_code == 302
    assert Visit.objects.get().emptying.litres_removed == 5000


def test_more_than_the_tanker_of_the_round_holds_is_asked_again(client, job, tess, installer):
    tanker = make_tanker(installer, capacity_litres=2000, vehicle_registration="T 1")
    planned = make_round(installer, make_crew(installer, user=tess), day=TODAY, tanker=tanker)
    make_stop(planned, job=job)
    response = post(client, tess, job, sheet(job))
    assert "more than one load of 2,000 L" in response.content.decode()


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


def test_debris_without_an_amount_is_asked_for(client, job, tess):
    chamber = Chamber.objects.create(system=job.system, label="IC1")
    name = f"chamber-{chamber.pk}"
    said = {f"{name}-flow": "slow", f"{name}-debris": "fat", f"{name}-amount": "0"}
    response = post(client, tess, job, sheet(job, **said))
    assert "amount" in response.context["sheet"].chambers[0].errors


def test_a_job_that_could_not_be_done_is_closed_with_its_reason(client, job, tess):
    told = {
        "left-undone-sheet_key": str(uuid.uuid4()),
        "left-undone-visited_on": TODAY.isoformat(),
        "left-undone-abandoned_because": "locked_gate",
    }
    response = post(client, tess, job, told, "job_sheet_abandon")
    job.refresh_from_db()
    assert job.state == Job.State.ABANDONED
    assert "Locked gate" in client.get(response.url).content.decode()


def test_a_job_is_not_abandoned_without_a_reason(client, job, tess):
    told = {
        "left-undone-sheet_key": str(uuid.uuid4()),
        "left-undone-visited_on": TODAY.isoformat(),
    }
    response = post(client, tess, job, told, "job_sheet_abandon")
    assert response.status_code == 422
    assert "Choose the reason." in response.content.decode()


def test_an_expired_session_comes_back_to_the_sheet(client, job):
    response = client.post(reverse("scheduler:job_sheet", args=[job.public_id]), sheet(job))
    assert response.status_code == 302
    assert f"/jobs/{job.public_id}/sheet/" in response.url


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
