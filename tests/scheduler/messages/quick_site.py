"""A part of the site by a quick clock, for tests that kill it: drain, celery or serve.

Leases, waits and the timetable are seconds instead of minutes, so that what a dead process held
comes back while the test waits. Nothing else is changed.
"""

from __future__ import annotations

import sys
import time
from datetime import timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
DRAIN = "scheduler.tasks.drain_outbox"


def main(part: str, folder: str) -> None:
    sys.path.insert(0, str(ROOT))
    import django  # noqa: PLC0415

    django.setup()
    from scheduler.messages import claims, outbox, retries  # noqa: PLC0415
    from scheduler.timetable import TIMETABLE  # noqa: PLC0415

    claims.LEASE = timedelta(seconds=2)
    retries.FIRST_WAIT = timedelta(milliseconds=200)
    outbox.CLOSED_FOR = timedelta(milliseconds=500)
    TIMETABLE.clear()
    TIMETABLE["drain"] = {"task": DRAIN, "schedule": 0.5}
    if part == "drain":
        keep_draining()
    elif part == "celery":
        run_worker_and_beat(folder)
    else:
        serve_everything()


def keep_draining() -> None:
    from scheduler.messages import outbox  # noqa: PLC0415

    while True:
        outbox.drain()
        time.sleep(0.05)


def run_worker_and_beat(folder: str) -> None:
    from scheduler.celery import app  # noqa: PLC0415

    words = f"worker --beat --schedule {folder}/beat --pool solo --loglevel CRITICAL"
    app.worker_main([*words.split(), "--without-gossip", "--without-mingle"])


def serve_everything() -> None:
    from scheduler import embedded  # noqa: PLC0415

    with embedded.listen("127.0.0.1", 0) as place:
        embedded.serve(place, when_ready=lambda: None)


if __name__ == "__main__":
    main(*sys.argv[1:])
