"""Send what waits in the outbox, once or for as long as it runs."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand
from django.db import close_old_connections

from scheduler.messages.outbox import drain

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    """`manage.py drain_outbox [--loop SECONDS]`: does what the worker's task does."""

    help = "Send the messages that are due. Any number of these may run at once."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Say whether to go on."""
        parser.add_argument(
            "--loop", type=float, metavar="SECONDS", help="Keep on, pausing this long when idle."
        )
        parser.add_argument(
            "--until-empty", action="store_true", help="Stop when nothing is due any more."
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Send until told to stop."""
        while True:
            result = drain()
            done = result.sent + result.failed + result.dead + result.dropped + result.postponed
            if done:
                self.stdout.write(
                    f"sent {result.sent}, to try again {result.failed}, could not be sent "
                    f"{result.dead}, no longer right {result.dropped}, later {result.postponed}"
                )
            if options["loop"] is None and not (options["until_empty"] and done):
                return
            if not done:
                close_old_connections()
                time.sleep(options["loop"] or 0)
