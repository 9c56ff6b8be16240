"""Who wants ringing, and what is written down of a call."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from customers.models import Membership
from scheduler.messages import telling
from scheduler.messages.calls import (
    count_to_ring,
    jobs_to_ring,
    jobs_wanted,
    news_to_ring,
    note_rung,
)
from scheduler.messages.ladder import plan_reminders
from scheduler.messages.letters import comes_too_late
from scheduler.messages.outbox import note_posted
from scheduler.models import Call, Message
from tests.make import make_job, make_organisation, make_user
from tests.scheduler.messages.visits import (
    NOW,
    add_party,
    make_agreement,
    make_owned_system,
    make_person,
    make_visit,
)

pytestmark = pytest.mark.django_db
FRIDAY_NEXT_WEEK = datetime(2027, 6, 18, 8, tzinfo=UTC)


def on_paper(**fields):
    """A system whose owner has a letter box and no e-mail."""
    system, omar = make_owned_system(**fields)
    omar.email, omar.postal_address, omar.phone = "", "1 Fold Lane", "01632 960111"
    omar.save()
    return system, omar


def ines_of(system):
    return make_user(system.organisation)


# --- A letter or a call ---


@pytest.mark.parametrize(
    ("written", "needed", "late"),
    [
        (date(2027, 6, 7), date(2027, 6, 14), False),  # Monday to Monday: four days between
        (date(2027, 6, 7), date(2027, 6, 11), True),  # Monday to Friday: three
        (date(2027, 6, 10), date(2027, 6, 16), True),  # a weekend between
        (date(2026, 12, 23), date(2026, 12, 31), True),  # Christmas and Boxing Day observed
        (date(2026, 12, 23), date(2027, 1, 5), False),
    ],
)
def test_a_letter_needs_four_working_days(written, needed, late):
    # The bank holidays are those of the Banking and Financial Dealings Act 1971 in England; how
    # long a letter takes is common practice, no source.
    at = datetime(written.year, written.month, written.day, 10, tzinfo=UTC)
    visit = datetime(needed.year, needed.month, needed.day, 9, tzinfo=UTC)
    office = make_organisation()
    assert comes_too_late(at, visit, organisation=office, zone="Europe/London") is late


def test_a_visit_too_near_for_a_letter_is_rung_about_and_not_written():
    system, omar = on_paper()
    visit = make_visit(NOW + timedelta(days=2), system=system)
    assert telling.tell_appointment_agreed(appointment=visit, now=NOW) == []
    assert telling.tell_appointment_agreed(appointment=visit, now=NOW) == []
    call = Call.objects.get()
    assert (call.person, call.outcome, call.useful_until) == (omar, "", visit.ends_at)
    assert "Wednesday 9 June 2027, between 10:00 and 12:00" in call.why
    assert not Message.objects.exists()


def test_a_day_offered_too_near_is_offered_by_telephone():
    system, _ = on_paper()
    visit = make_visit(NOW + timedelta(days=3), system=system, agreed_at=None)
    assert telling.tell_day_offered(appointment=visit, now=NOW) == []
    assert Call.objects.get().why.startswith("We offer Thursday 10 June 2027")


def test_a_letter_says_nothing_of_an_attachment_or_invitation():
    system, _ = on_paper()
    visit = make_visit(FRIDAY_NEXT_WEEK, system=system)
    (letter,) = telling.tell_appointment_agreed(appointment=visit, now=NOW)
    assert letter.channel == "post"
    assert "attach" not in letter.body_text
    assert "invitation" not in letter.body_text
    assert "calendar" not in letter.body_text


def test_a_letter_not_yet_posted_is_overtaken_by_the_next():
    system, _ = on_paper()
    visit = make_visit(FRIDAY_NEXT_WEEK, system=system)
    (first,) = telling.tell_appointment_agreed(appointment=visit, now=NOW)
    moved(visit, FRIDAY_NEXT_WEEK + timedelta(days=3))
    (second,) = telling.tell_appointment_moved(appointment=visit, now=NOW)
    moved(visit, FRIDAY_NEXT_WEEK)
    (third,) = telling.tell_appointment_moved(appointment=visit, now=NOW)
    states = {one.pk: one.state for one in Message.objects.all()}
    assert states == {first.pk: "dropped", second.pk: "dropped", third.pk: "waiting"}
    assert (second.template, third.template) == ("invite", "invite")  # nothing was heard yet


def test_who_had_a_letter_hears_that_the_visit_is_off_by_letter_or_telephone():
    system, _ = on_paper()
    visit = make_visit(FRIDAY_NEXT_WEEK, system=system)
    (letter,) = telling.tell_appointment_agreed(appointment=visit, now=NOW)
    note_posted(message=letter, by=ines_of(system), now=NOW)
    visit.cancelled_at = NOW
    visit.save()
    eve = FRIDAY_NEXT_WEEK - timedelta(days=1)
    assert telling.tell_appointment_cancelled(appointment=visit, now=eve, reason="Snow") == []
    assert telling.tell_appointment_cancelled(appointment=visit, now=eve, reason="Snow") == []
    assert Call.objects.get().why.startswith("The visit is called off")


def test_who_never_had_the_letter_hears_nothing_of_a_cancellation():
    system, _ = on_paper()
    visit = make_visit(FRIDAY_NEXT_WEEK, system=system)
    (letter,) = telling.tell_appointment_agreed(appointment=visit, now=NOW)
    visit.cancelled_at = NOW
    visit.save()
    assert telling.tell_appointment_cancelled(appointment=visit, now=NOW) == []
    letter.refresh_from_db()
    assert letter.state == "dropped"
    assert not Call.objects.exists()


def test_the_reminder_of_tomorrow_does_not_become_a_letter():
    system, _ = on_paper()
    visit = make_visit(FRIDAY_NEXT_WEEK, system=system)
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    for day in range(12):
        plan_reminders(now=NOW + timedelta(days=day))
    templates = list(Message.objects.order_by("pk").values_list("template", flat=True))
    assert templates == ["invite", "reminder_week"]


def moved(visit, starts_at):
    visit.starts_at, visit.ends_at = starts_at, starts_at + timedelta(hours=2)
    visit.save()


# --- Calls and what came of them ---


def overdue_job(system):
    return make_job(system, due_on=NOW.date() - timedelta(days=70))


def to_ring(system, days=0):
    return list(jobs_to_ring(system.organisation, NOW.date() + timedelta(days=days)))


@pytest.mark.parametrize(
    ("outcome", "comes_back_after"), [("no_answer", 2), ("agreed", 7), ("not_wanted", None)]
)
def test_a_call_rests_the_next_one(outcome, comes_back_after):
    system, _ = on_paper()
    job = overdue_job(system)
    assert to_ring(system) == [job]
    assert note_rung(job=job, outcome=outcome, by=ines_of(system), now=NOW)
    back = [days for days in range(40) if to_ring(system, days)]
    assert back[:1] == ([comes_back_after] if comes_back_after else [])


def test_a_double_click_is_one_call():
    system, _ = on_paper()
    job, ines = overdue_job(system), ines_of(system)
    assert note_rung(job=job, outcome="no_answer", by=ines, now=NOW)
    assert not note_rung(job=job, outcome="no_answer", by=ines, now=NOW + timedelta(seconds=2))
    assert Call.objects.count() == 1


def test_who_does_not_want_a_visit_is_not_written_to_either():
    system, _ = make_owned_system()
    make_agreement(system)
    job = make_job(system, due_on=NOW.date() + timedelta(days=60))
    note_rung(job=job, outcome="not_wanted", by=ines_of(system), now=NOW)
    assert plan_reminders(now=NOW) == 0


def test_news_waits_until_somebody_answers_or_the_visit_is_over():
    system, _ = on_paper()
    visit = make_visit(NOW + timedelta(days=2), system=system)
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    call, ines = Call.objects.get(), ines_of(system)
    note_rung(job=visit.job, outcome="no_answer", by=ines, now=NOW, call=call)
    assert list(news_to_ring(system.organisation, NOW)) == [call]
    assert not news_to_ring(system.organisation, visit.ends_at)
    note_rung(job=visit.job, outcome="agreed", by=ines, now=NOW, call=call)
    assert not news_to_ring(system.organisation, NOW)
    assert count_to_ring(system.organisation, NOW, NOW.date()) == 0


def test_a_line_says_whom_to_ask_for_and_what_came_of_the_last_call():
    system, omar = on_paper()
    gone = make_person(system.organisation)
    add_party(system, gone, until=NOW.date() - timedelta(days=1))
    job = overdue_job(system)
    note_rung(
        job=job, outcome="no_answer", by=ines_of(system), now=NOW - timedelta(days=5), words="Fax"
    )
    (line,) = jobs_wanted(to_ring(system), NOW.date())
    assert (line.people, line.last.words) == ([omar], "Fax")


# --- The page ---


@pytest.fixture
def shown(client, time_machine):
    time_machine.move_to(NOW, tick=False)
    system, _ = on_paper()
    client.force_login(ines_of(system))
    return system


def test_the_page_has_numbers_reasons_and_a_form(client, shown):
    job = overdue_job(shown)
    page = client.get("/messages/calls/").content.decode()
    assert 'href="tel:01632 960111"' in page
    assert "Long overdue" in page
    url = f"/messages/calls/{job.public_id}/rung/"
    response = client.post(url, {"outcome": "no_answer", "words": "Nobody in"}, follow=True)
    assert "Nobody in" in response.content.decode()
    assert list(response.context["page"].object_list) == []


def test_after_a_yes_the_office_is_led_to_the_job_to_book_it(client, shown):
    job = overdue_job(shown)
    response = client.post(f"/messages/calls/{job.public_id}/rung/", {"outcome": "agreed"})
    assert response["Location"].endswith(f"/jobs/{job.public_id}/")


def test_the_page_is_turned_and_costs_the_same_for_many(
    client, shown, django_assert_max_num_queries
):
    for _ in range(60):
        overdue_job(make_owned_system(organisation=shown.organisation)[0])
    with django_assert_max_num_queries(22):
        first = client.get("/messages/calls/")
    last = client.get("/messages/calls/?page=3")
    assert (len(first.context["wanted"]), len(last.context["wanted"])) == (25, 10)


def test_a_nonsense_outcome_is_refused_and_a_reader_writes_nothing(client, shown):
    job = overdue_job(shown)
    url = f"/messages/calls/{job.public_id}/rung/"
    assert client.post(url, {"outcome": "shouted"}).status_code == 400
    client.force_login(make_user(shown.organisation, Membership.Role.READER))
    assert client.post(url, {"outcome": "agreed"}).status_code == 403
    assert "What came of it" not in client.get("/messages/calls/").content.decode()
    assert not Call.objects.exists()


def test_the_desk_and_the_messages_page_say_how_many(client, shown):
    overdue_job(shown)
    assert "1 to ring" in client.get("/").content.decode()
    assert "To ring (1)" in client.get("/messages/").content.decode()
