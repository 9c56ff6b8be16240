"""When background work is woken. What is due is decided in the database, in local time."""

from __future__ import annotations

from typing import TypedDict

MINUTE = 60.0


class Wake(TypedDict):
    """A task, and the seconds from one waking to the next."""

    task: str
    schedule: float


# Intervals, never clock times: a missed tick costs an interval, a doubled tick nothing.
TIMETABLE: dict[str, Wake] = {
    "drain the outbox": {"task": "scheduler.tasks.drain_outbox", "schedule": MINUTE / 4},
    "write reminders": {"task": "scheduler.tasks.write_reminders", "schedule": 10 * MINUTE},
    "poll replies": {"task": "scheduler.tasks.poll_replies", "schedule": 2 * MINUTE},
    "forget raw replies": {"task": "scheduler.tasks.forget_raw_replies", "schedule": 360 * MINUTE},
    "refresh forecasts": {"task": "scheduler.tasks.refresh_forecasts", "schedule": 30 * MINUTE},
    "learn from fleets": {"task": "scheduler.tasks.learn_from_fleets", "schedule": 360 * MINUTE},
    "wake waiting plans": {"task": "scheduler.tasks.wake_waiting_plans", "schedule": MINUTE},
    "tidy rounds": {"task": "scheduler.tasks.tidy_rounds", "schedule": MINUTE},
    "complete sales": {"task": "scheduler.tasks.complete_due_sales", "schedule": 30 * MINUTE},
    "renew agreements": {"task": "scheduler.tasks.renew_agreements", "schedule": 30 * MINUTE},
    "reckon charges": {"task": "scheduler.tasks.reckon_charges", "schedule": 30 * MINUTE},
    "make due jobs": {"task": "scheduler.tasks.make_due_jobs", "schedule": 30 * MINUTE},
}
