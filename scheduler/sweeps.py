"""When each piece of recurring work last ran to its end: what the health page looks at."""

import datetime as dt
from typing import Any

from celery.signals import task_success
from django.utils import timezone

from scheduler.timetable import TIMETABLE

RECURRING = {wake["task"] for wake in TIMETABLE.values()}


@task_success.connect
def note_end(sender: Any, **_kwargs: Any) -> None:
    """Write down that a recurring task ended well; others leave no mark."""
    if sender.name in RECURRING:
        from scheduler.models import Sweep  # noqa: PLC0415  (signals are set up before models)

        name = short_name(sender.name)
        Sweep.objects.update_or_create(name=name, defaults={"ran_at": timezone.now()})


def short_name(task: str) -> str:
    """Return the last part of a task's dotted name."""
    return task.rpartition(".")[2]


def ages(now: dt.datetime) -> dict[str, float | None]:
    """Return for each recurring task the seconds since it last ended well; None for never."""
    from scheduler.models import Sweep  # noqa: PLC0415

    ran_at = dict(Sweep.objects.values_list("name", "ran_at"))
    names = sorted(short_name(task) for task in RECURRING)
    return {
        name: (now - ran_at[name]).total_seconds() if name in ran_at else None for name in names
    }


def intervals() -> dict[str, float]:
    """Return for each recurring task the seconds between two runs."""
    return {short_name(wake["task"]): wake["schedule"] for wake in TIMETABLE.values()}
