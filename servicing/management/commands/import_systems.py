"""Bring a list of installed systems into the register of an organisation."""

from __future__ import annotations

import argparse
import dataclasses
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from customers.local_days import local_today
from customers.models import Organisation
from servicing.forecasts import refresh_forecasts
from servicing.importers.columns import ColumnMapping, MappingError, correct_mapping, guess_mapping
from servicing.importers.fields import BY_NAME
from servicing.importers.files import open_sheet
from servicing.importers.intake import (
    Intake,
    Survey,
    bring_in,
    defaults_for,
    fitted_to,
    survey,
)
from servicing.importers.places import GRIDS
from servicing.importers.rows import Defaults
from servicing.importers.sheets import SheetError
from servicing.importers.volumes import LITRES_A_UNIT
from servicing.models import System

GALLONS = {"imperial": "imperial_gallons", "us": "us_gallons"}


class Command(BaseCommand):
    """Without --commit it only tells what it would do."""

    help = (
        "Bring a list (CSV or XLSX) of installed systems into an organisation's register."
        " Without --commit nothing is written but the file of refused rows."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """Say which file, whose register, and how to read what the file leaves open."""
        parser.add_argument("file", type=Path)
        parser.add_argument("--organisation", required=True, metavar="SLUG")
        parser.add_argument("--commit", action="store_true", help="write to the register")
        parser.add_argument(
            "--take-changes",
            action="store_true",
            help="where the list says otherwise than the register, change the register",
        )
        parser.add_argument(
            "--map",
            action="append",
            default=[],
            metavar="COLUMN=FIELD",
            help="what a column means, e.g. --map 'Tank size=volume:us_gallons'; nothing after"
            f" the = leaves it out. Fields: {', '.join(BY_NAME)}",
        )
        parser.add_argument("--gallon", choices=GALLONS, help="which gallon “gal” means")
        parser.add_argument("--unit", choices=LITRES_A_UNIT, help="unit of volumes without one")
        parser.add_argument("--kind", choices=System.Kind.values, help="kind where none is given")
        parser.add_argument("--grid", choices=GRIDS, help="grid of eastings and northings")
        parser.add_argument("--month-first", action="store_true", help="dates are month/day/year")
        parser.add_argument("--worksheet", default="", help="sheet of a workbook")
        parser.add_argument("--encoding", default="", help="encoding of a text file")
        parser.add_argument(
            "--forecast", action="store_true", help="forecast what was added at once, not later"
        )
        parser.add_argument("--refused", type=Path, help="file for the rows that are refused")

    def handle(self, *args: Any, **options: Any) -> None:
        """Read the file, tell what it does, and do it with --commit."""
        del args
        path: Path = options["file"]
        refused: Path = options["refused"] or path.with_name(f"{path.stem}-refused.csv")
        try:
            intake = self._intake(path, options)
            self._say_columns(intake.mapping)
            if options["commit"]:
                self._bring_in(intake, refused, take_changes=options["take_changes"])
                self._forecast(intake, at_once=options["forecast"])
            else:
                self._say_survey(survey(intake, refused), path.name, refused)
        except (SheetError, MappingError) as error:
            msg = f"{path.name}: {error}"
            raise CommandError(msg, returncode=2) from error

    def _intake(self, path: Path, options: dict[str, Any]) -> Intake:
        organisation = Organisation.objects.filter(slug=options["organisation"]).first()
        if organisation is None:
            msg = f"There is no organisation “{options['organisation']}”."
            raise CommandError(msg, returncode=2)
        if not path.is_file():
            msg = f"There is no file {path}."
            raise CommandError(msg, returncode=2)
        sheet = open_sheet(path, worksheet=options["worksheet"], encoding=options["encoding"])
        for remark in sheet.remarks:
            self.stdout.write(remark)
        mapping = correct_mapping(guess_mapping(sheet), _uses(options["map"]))
        defaults = fitted_to(_answered(defaults_for(organisation), options), sheet, mapping)
        return Intake(sheet, mapping, defaults, organisation, local_today(organisation))

    def _say_columns(self, mapping: ColumnMapping) -> None:
        self.stdout.write("Columns:")
        for column in mapping:
            meaning = BY_NAME[column.field].label if column.field else "not used"
            unit = f", {column.unit.replace('_', ' ')}" if column.unit else ""
            self.stdout.write(f"  {column.heading}: {meaning}{unit}")

    def _say_survey(self, found: Survey, name: str, refused: Path) -> None:
        for one in found.changes:
            for difference in one.differences:
                before = difference.before or "nothing"
                self.stdout.write(
                    f"{name}, line {one.row.line}: {one.row.reference}: {difference.what}:"
                    f" {before} would become {difference.after}"
                )
        for row in found.refusals:
            for error in row.errors:
                self.stderr.write(f"{name}, line {row.line}: {error}")
        self.stdout.write(
            f"{found.rows} rows: {found.added} would be added, {found.same} are the same,"
            f" {found.changed} differ, {found.refused} are refused."
        )
        if found.refused:
            self.stdout.write(f"Refused rows with their reasons: {refused}")
        self.stdout.write("Nothing was written to the register: add --commit to do it.")

    def _bring_in(self, intake: Intake, refused: Path, *, take_changes: bool) -> None:
        done, refusals = bring_in(
            intake,
            by=None,
            take_changes=take_changes,
            refused_file=refused,
            progress=lambda rows: self.stderr.write(f"{rows} rows …"),
        )
        self.stdout.write(
            f"{done.rows + refusals} rows: {done.added} added, {done.same} the same,"
            f" {done.changed} changed, {done.left} differ and were left, {refusals} refused."
        )
        if refusals:
            self.stdout.write(f"Refused rows with their reasons: {refused}")

    def _forecast(self, intake: Intake, *, at_once: bool) -> None:
        if not at_once:
            self.stdout.write("The forecasts follow with the next refresh in the background.")
            return
        fresh = System.objects.filter(organisation=intake.organisation, forecast=None)
        count = refresh_forecasts(fresh, today=intake.today)
        self.stdout.write(f"{count} forecasts made.")


def _uses(pairs: list[str]) -> dict[str, str]:
    uses = {}
    for pair in pairs:
        heading, found, use = pair.rpartition("=")
        if not found:
            msg = f"--map {pair}: write COLUMN=FIELD"
            raise CommandError(msg, returncode=2)
        uses[heading] = use
    return uses


def _answered(defaults: Defaults, options: dict[str, Any]) -> Defaults:
    answers = {
        "gallon": GALLONS.get(options["gallon"] or ""),
        "volume_unit": options["unit"],
        "kind": options["kind"],
        "grid": options["grid"],
        "month_first": options["month_first"] or None,
    }
    said = {name: answer for name, answer in answers.items() if answer is not None}
    return dataclasses.replace(defaults, **said)
