"""Tickets against sheets. Charges by Southern Water's published scheme for 2023-24 (see below)."""

import datetime as dt
import uuid

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from scheduler import booking
from scheduler.job_sheets import close_job_sheet
from scheduler.loads import Tipped, book_of, codes_of
from scheduler.models import Job, Stop, Tip, WorksWasteCode
from scheduler.tips import TipRefused, TipTold, load_at, record_tip, tipped_words
from servicing.models import Emptying, System, Visit
from servicing.visit_facts import RemovalFound, VisitFound
from tests.make import (
    make_crew,
    make_job,
    make_organisation,
    make_round,
    make_stop,
    make_system,
    make_tanker,
    make_user,
    make_works,
)

pytestmark = pytest.mark.django_db
NOW = timezone.now().replace(microsecond=0)
TODAY = NOW.date()


@pytest.fixture
def operator():
    return make_organisation()


@pytest.fixture
def tess(operator):
    return make_user(operator, "crew", name="Tess")


@pytest.fixture
def planned(operator, tess):
    tanker = make_tanker(operator, capacity_litres=9000)
    return make_round(operator, make_crew(operator, user=tess), day=TODAY, tanker=tanker)


@pytest.fixture
def works(operator):
    return make_works(operator, name="Low Works")


def collect(planned, litres, kind=System.Kind.SEPTIC_TANK, **fields):
    """A job on the round that was driven and recorded."""
    system = make_system(planned.organisation, kind=kind)
    visit = Visit.objects.create(
        organisation=planned.organisation, system=system, visited_on=planned.day, lid_back_on=True
    )
    Emptying.objects.create(visit=visit, litres_removed=litres)
    job = make_job(system, visit=visit, state=Job.State.DONE, due_on=TODAY)
    return make_stop(planned, job=job, **fields)


def tip(stop, by, litres, ticket="T-1", **told):
    key = told.pop("key", None)
    told = TipTold(litres=litres, ticket=ticket, **told)
    return record_tip(stop=stop, told=told, by=by, now=NOW, key=key)


def book(planned):
    return book_of(planned.tanker, planned.day, planned.day)


def test_litres_of_the_jobs_add_up_to_the_ticket(planned, works, tess):
    collect(planned, 2600)
    collect(planned, 3100)
    noted = tip(make_stop(planned, works=works), tess, 5500)
    (line,) = book(planned).tips
    assert (line.expected, line.difference, line.adds_up) == (5700, -200, True)
    assert book(planned).litres_on_board == 0
    assert "agrees with the 5,700 L" in tipped_words(noted)


@pytest.mark.parametrize(
    ("tolerance", "litres", "adds_up"),
    [(10, 5130, True), (10, 5129, False), (10, 6333, True), (10, 6334, False), (0, 5699, False)],
)
def test_the_tolerance_is_of_the_larger_figure(operator, tolerance, litres, adds_up):
    noted = Tip(litres=litres, tanker=make_tanker(operator), emptied_out=True)
    line = Tipped(tip=noted, expected=5700, load=(), tolerance_percent=tolerance, order=(TODAY, 1))
    assert line.adds_up is adds_up


def test_a_load_that_does_not_add_up_is_told_at_once(planned, works, tess):
    collect(planned, 5700)
    noted = tip(make_stop(planned, works=works), tess, 4000)
    assert "1,700 L less than the 5,700 L of your sheets" in tipped_words(noted)


def test_what_was_not_tipped_stays_on_board_until_the_next_day(planned, operator, works, tess):
    collect(planned, 4000)
    tip(make_stop(planned, works=works), tess, 2500, emptied_out=False)
    assert (book(planned).litres_on_board, book(planned).tips[0].adds_up) == (1500, True)
    next_day = TODAY + dt.timedelta(days=1)
    tomorrow = make_round(operator, day=next_day, tanker=planned.tanker)
    collect(tomorrow, 2000)
    tip(make_stop(tomorrow, works=works), tess, 3450, ticket="T-2")
    assert book(tomorrow).tips[0].expected == 3500


def test_a_ticket_goes_on_the_visits_since_the_tip_before(planned, works, tess):
    collect(planned, 2000)
    first = make_stop(planned, works=works)
    collect(planned, 2000)
    second = make_stop(planned, works=works)
    tip(first, tess, 2000, "T-1")
    tip(second, tess, 2050, "T-2")
    tickets = Emptying.objects.order_by("pk").values_list("tip_ticket", "tipped_at")
    assert list(tickets) == [("T-1", "Low Works"), ("T-2", "Low Works")]
    second.refresh_from_db()
    assert (second.tipped_litres, second.tip_ticket, second.left_at) == (2050, "T-2", NOW)


def test_the_same_key_is_the_same_tip(planned, works, tess):
    stop, key = make_stop(planned, works=works), uuid.uuid4()
    first = tip(stop, tess, 2000, key=key)
    assert tip(stop, tess, 2000, key=key) == first
    assert Tip.objects.count() == 1


def test_a_ticket_put_right_keeps_what_it_said(planned, works, tess):
    collect(planned, 5700)
    stop = make_stop(planned, works=works)
    wrong = tip(stop, tess, 570)
    right = tip(stop, tess, 5700)
    assert (right, Tip.objects.get().litres) == (wrong, 5700)
    assert [row.litres for row in right.history.order_by("pk")] == [570, 5700]


def test_a_load_costs_what_the_works_asks(planned, operator, tess):
    # Southern Water, trade effluent scheme 1 April 2023 to 31 March 2024: domestic tankered loads
    # of indeterminate strength 9.44 GBP a cubic metre. 5.7 m3 are 53.81 GBP, 53.808 unrounded.
    works = make_works(operator, charge_pence_per_m3=944)
    assert tip(make_stop(planned, works=works), tess, 5700).charge_pence == 5381
    works = make_works(operator, charge_pence_per_visit=1500, charge_pence_per_m3=944)
    assert tip(make_stop(planned, works=works), tess, 5700).charge_pence == 6881


def test_a_works_that_does_not_take_the_waste_is_refused(planned, operator, works, tess):
    high = make_works(operator, name="High Works", accepts=["septic_tank"])
    collect(planned, 3000, System.Kind.CESSPOOL)
    stop = make_stop(planned, works=high)
    with pytest.raises(TipRefused) as refused:
        tip(stop, tess, 3000)
    assert [one.field for one in refused.value.refusals] == ["agreed_with"]
    assert "does not take the waste of a cesspool" in str(refused.value)
    assert "Taken at Low Works." in str(refused.value)
    assert tip(stop, tess, 3000, agreed_with="The shift lead").agreed_with == "The shift lead"


def test_wastes_of_different_codes_in_one_load_are_flagged(planned, works, tess):
    # List of Wastes as published on gov.uk: septic tank sludge 20 03 04, cesspool waste 16 10 02.
    collect(planned, 2000)
    collect(planned, 2000, System.Kind.CESSPOOL)
    noted = tip(make_stop(planned, works=works), tess, 4000)
    assert noted.waste_codes == ["16 10 02", "20 03 04"]
    assert book(planned).tips[0].is_mixed


def test_a_works_may_have_a_code_of_its_own_from_a_day_on(planned, works):
    load = [*load_at(make_stop(planned, works=works)).on_board]
    collect(planned, 2000, System.Kind.PACKAGE_PLANT)
    load = book(planned).on_board
    begins = TODAY + dt.timedelta(days=10)
    WorksWasteCode.objects.create(
        works=works, system_kind="package_plant", code="19 08 05", valid_from=begins
    )
    assert codes_of(works, load, TODAY) == ["20 03 04"]
    assert codes_of(works, load, begins) == ["19 08 05"]


def test_more_than_the_tanker_holds_wants_confirming(planned, works, tess):
    stop = make_stop(planned, works=works)
    with pytest.raises(TipRefused, match="12,000 L tipped from a tanker that holds 9,000 L"):
        tip(stop, tess, 12_000)
    assert tip(stop, tess, 12_000, sure=True).litres == 12_000


def test_a_job_in_two_parts_is_shared_over_its_loads(planned, works, tess):
    first = collect(planned, 15_000, load_after_litres=9000)
    middle = make_stop(planned, works=works)
    make_stop(planned, job=first.job, part=2, load_after_litres=6000)
    last = make_stop(planned, works=works)
    tip(middle, tess, 9000)
    tip(last, tess, 6000, "T-2")
    assert [line.expected for line in book(planned).tips] == [9000, 6000]


def test_a_sheet_that_comes_in_after_the_tip_takes_over_its_ticket(planned, operator, works, tess):
    job = make_job(make_system(operator), state=Job.State.AGREED, due_on=TODAY)
    make_stop(planned, job=job)
    tip(make_stop(planned, works=works), tess, 2700)
    assert not book(planned).tips[0].load
    late = VisitFound(
        visited_on=TODAY,
        lid_back_on=True,
        no_photo_because="No camera",
        removal=RemovalFound(litres_removed=2650),
    )
    visit = close_job_sheet(job=job, found=late, by=tess, now=NOW)
    visit.emptying.refresh_from_db()
    assert (visit.emptying.tip_ticket, visit.emptying.tipped_at) == ("T-1", "Low Works")
    line = book(planned).tips[0]
    assert (line.adds_up, line.tip.waste_codes) == (True, ["20 03 04"])


def test_nothing_is_tipped_at_a_house(planned, tess):
    with pytest.raises(booking.NotPossible):
        tip(collect(planned, 2000), tess, 2000)


def test_who_may_not_visit_tips_nothing(planned, operator, works):
    stop = make_stop(planned, works=works)
    for sid in (make_user(operator, "reader"), make_user()):
        with pytest.raises(PermissionDenied):
            tip(stop, sid, 2000)
    assert not Tip.objects.exists()


# --- Pages ---


def test_the_driver_is_told_at_the_field_and_answers_there(client, planned, operator, tess):
    high = make_works(operator, accepts=["septic_tank"])
    collect(planned, 3000, System.Kind.CESSPOOL)
    stop = make_stop(planned, works=high)
    client.force_login(tess)
    where = reverse("scheduler:stop_tipped", args=[stop.public_id])
    said = {f"tip-{stop.pk}-volume": "3000", f"tip-{stop.pk}-ticket": "T-1"}
    answer = client.post(where, said)
    assert answer.status_code == 422
    assert f'type="text" name="tip-{stop.pk}-agreed_with"' in answer.content.decode()
    said[f"tip-{stop.pk}-agreed_with"] = "The shift lead"
    assert client.post(where, said).status_code == 302
    assert Tip.objects.get().agreed_with == "The shift lead"


def test_the_office_sees_what_does_not_add_up_and_takes_it_along(client, planned, works, tess):
    collect(planned, 5700)
    tip(make_stop(planned, works=works), tess, 4000, remark="=meter stood still")
    client.force_login(make_user(planned.organisation))
    page = client.get(reverse("scheduler:loads")).content.decode()
    assert "Less than the sheets by 1,700\N{NO-BREAK SPACE}L" in page
    file = client.get(reverse("scheduler:loads_file"))
    lines = file.content.decode().splitlines()
    assert len(lines) == 3
    assert lines[2].endswith(",5700,-1700,no,'=meter stood still")


def test_a_ticket_is_put_right_by_the_office(client, planned, works, tess):
    noted = tip(make_stop(planned, works=works), tess, 570)
    client.force_login(make_user(planned.organisation))
    where = reverse("scheduler:tip", args=[noted.public_id])
    assert 'value="570"' in client.get(where).content.decode()
    told = {"volume": "5700", "ticket": "T-9", "measured_by": "weighbridge", "kilograms": "5720"}
    assert client.post(where, told).status_code == 302
    noted.refresh_from_db()
    assert (noted.litres, noted.ticket, noted.kilograms) == (5700, "T-9", 5720)


@pytest.mark.parametrize(
    ("days", "words"),
    [
        ({"first": "2026-02-01", "last": "2026-01-01"}, "ends before it begins"),
        ({"first": "2020-01-01", "last": "2026-01-01"}, "62 days at most"),
    ],
)
def test_days_that_cannot_be_are_told(client, operator, days, words):
    client.force_login(make_user(operator))
    answer = client.get(reverse("scheduler:loads"), days)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert Stop.objects.count() == 0
