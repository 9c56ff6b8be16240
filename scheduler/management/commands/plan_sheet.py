"""Plan rounds from a sheet of numbers, without the database."""

from __future__ import annotations

import argparse
import json
import sys
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scheduler.round_plans import ProblemError, planned_sheet

SECONDS = 10.0
GONE_BY = "The sheet begins on a day gone by; --today leaves such days out."
FAULTY = 2  # what the shell gets when the sheet cannot be planned


class Command(BaseCommand):
    help = "Plan rounds from a JSON sheet and write the plan as JSON. The database is not used."
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("problem", help="the sheet: a JSON file, or - for standard input")
        effort = parser.add_mutually_exclusive_group()
        effort.add_argument(
            "--seconds", type=_positive, help=f"how long to search ({SECONDS:g} unless said)"
        )
        effort.add_argument(
            "--iterations", type=_counted, help="search so many steps: the same plan every time"
        )
        parser.add_argument(
            "--today",
            type=date.fromisoformat,
            help="leave out days before this one (2027-03-01); without it all days are planned",
        )
        parser.add_argument("--seed", type=int, default=1, help="another seed, another search")

    def handle(self, *_args: Any, **options: Any) -> None:
        name = "standard input" if options["problem"] == "-" else options["problem"]
        iterations = options["iterations"]
        seconds = None if iterations else options["seconds"] or SECONDS
        try:
            sheet = json.loads(_read(options["problem"]))
            plan = planned_sheet(
                sheet,
                today=options["today"],
                iterations=iterations,
                seconds=seconds,
                seed=options["seed"],
            )
        except json.JSONDecodeError as fault:
            raise _refused(name, f"line {fault.lineno}: this is not JSON: {fault.msg}.") from fault
        except UnicodeDecodeError as fault:
            raise _refused(name, "this is not text in UTF-8.") from fault
        except OSError as fault:
            raise _refused(name, f"it cannot be read: {fault.strerror}.") from fault
        except ProblemError as fault:
            raise _refused(name, _where(fault)) from fault
        if options["today"] is None and date.fromisoformat(sheet["start"]) < timezone.localdate():
            plan["warnings"].append(GONE_BY)
        self.stdout.write(json.dumps(plan, indent=2, ensure_ascii=False))


def _read(problem: str) -> str:
    return sys.stdin.read() if problem == "-" else Path(problem).read_text(encoding="utf-8")


def _where(fault: ProblemError) -> str:
    """The item and field at fault, then what is wrong, each said once."""
    place = [part for part in (fault.item, fault.field) if part and part not in fault.message]
    return ": ".join([*place, fault.message])


def _refused(name: str, what: str) -> CommandError:
    return CommandError(f"{name}: {what}", returncode=FAULTY)


def _positive(text: str) -> float:
    seconds = float(text)
    if not 0 < seconds < float("inf"):
        raise argparse.ArgumentTypeError("it must be above zero")
    return seconds


def _counted(text: str) -> int:
    count = int(text)
    if count <= 0:
        raise argparse.ArgumentTypeError("it must be above zero")
    return count
