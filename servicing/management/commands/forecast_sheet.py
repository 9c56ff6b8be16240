"""Forecast a sheet of tanks, without the database."""

from __future__ import annotations

import argparse
import contextlib
import datetime as dt
import io
import sys
from pathlib import Path
from typing import Any, TextIO

from django.core.management.base import BaseCommand, CommandError

from servicing.forecasts.sheet_cells import BadSheet, day_of
from servicing.forecasts.sheets import Asked, forecast_sheets, write_forecasts

HELP = """Forecast when tanks need emptying. Tanks: reference, working_volume_litres, persons,
emptied_on, and optionally kind, shape, length_mm, diameter_mm, width_mm, outlet_height_mm,
weeks_per_year, grinder, trigger_share, ceiling_months. Dips: reference, dipped_on, and sludge_mm
with scum_mm, or litres; optionally method."""


class Command(BaseCommand):
    """CSV in, CSV out; what is wrong goes to standard error by file, line and field, exit 2."""

    help = HELP
    requires_system_checks = []

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """Say which sheets, for which day, and what is accepted."""
        parser.add_argument("--tanks", required=True, metavar="T.csv", help="- for standard input")
        parser.add_argument("--dips", metavar="D.csv", help="- for standard input")
        parser.add_argument("--on", required=True, type=_day, metavar="YYYY-MM-DD")
        parser.add_argument("--risk", type=_share, default=0.10, help="accepted risk, 0 to 1")
        parser.add_argument("--trigger", type=_share, help="share of the working volume, 0 to 1")
        parser.add_argument(
            "--by", type=_days, default=(), metavar="DAY,…", help="days for the odds of being over"
        )
        parser.add_argument("--learn-fleet", action="store_true", help="learn from all dips first")

    def handle(self, *args: Any, **options: Any) -> None:
        """Read both sheets, forecast, write."""
        del args
        if options["tanks"] == options["dips"] == "-":
            message = "--tanks and --dips cannot both be standard input."
            raise CommandError(message, returncode=2)
        asked = Asked(
            on=options["on"],
            risk=options["risk"],
            trigger=options["trigger"],
            by=options["by"],
            learn_fleet=options["learn_fleet"],
        )
        names = tuple("standard input" if options[k] == "-" else str(options[k] or "")
                      for k in ("tanks", "dips"))  # fmt: skip
        try:
            with contextlib.ExitStack() as open_files:
                tanks = open_files.enter_context(_opened(options["tanks"]))
                dips = options["dips"] and open_files.enter_context(_opened(options["dips"]))
                answer = forecast_sheets(tanks, dips or None, asked, names=(names[0], names[1]))
        except BadSheet as wrong:
            raise CommandError(str(wrong), returncode=2) from None
        except OSError as wrong:
            message = f"{wrong.filename}: {wrong.strerror}"
            raise CommandError(message, returncode=2) from None
        self._say(answer.notes, answer.assumptions, wordy=options["verbosity"] > 1)
        write_forecasts(answer.forecasts, self.stdout)  # type: ignore[arg-type]

    def _say(self, notes: tuple[str, ...], assumptions: tuple[str, ...], *, wordy: bool) -> None:
        """Tell what the numbers rest on, apart from the numbers."""
        for line in (*notes, *(assumptions if wordy else ())):
            self.stderr.write(line)
        if assumptions and not wordy:
            count = len(assumptions)
            self.stderr.write(f"{count} things were assumed; --verbosity 2 lists them.")


def _opened(name: str) -> contextlib.AbstractContextManager[TextIO]:
    if name == "-":
        text = io.TextIOWrapper(sys.stdin.buffer, encoding="utf-8-sig", newline="")
        return contextlib.nullcontext(text)
    return Path(name).open(encoding="utf-8-sig", newline="")


def _day(text: str) -> dt.date:
    try:
        return day_of(text)
    except ValueError as wrong:
        raise argparse.ArgumentTypeError(str(wrong)) from None


def _days(text: str) -> tuple[dt.date, ...]:
    return tuple(dict.fromkeys(_day(part.strip()) for part in text.split(",") if part.strip()))


def _share(text: str) -> float:
    try:
        share = float(text)
    except ValueError:
        share = -1.0
    if not 0 < share < 1:
        message = f"must lie between 0 and 1, not “{text}”"
        raise argparse.ArgumentTypeError(message)
    return share
