"""A process that drains the outbox until it is killed, by a quick clock: for the kill test.

Leases and waits are seconds instead of minutes, so that what a dead worker held comes back while
the test waits.
"""

from __future__ import annotations

import sys
import time
from datetime import timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]


def main() -> None:
    sys.path.insert(0, str(ROOT))
    import django  # noqa: PLC0415

    django.setup()
    from scheduler.messages import claims, outbox, retries  # noqa: PLC0415

    claims.LEASE = timedelta(seconds=2)
    retries.FIRST_WAIT = timedelta(milliseconds=200)
    while True:
        outbox.drain()
        time.sleep(0.05)


if __name__ == "__main__":
    main()
