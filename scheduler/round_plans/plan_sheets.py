"""Planning a sheet of numbers by the same engine, without a row of the database."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from scheduler.routing.plan import Effort, plan_rounds
from scheduler.routing.sheets import read_problem, written_plan

if TYPE_CHECKING:
    from datetime import date


def planned_sheet(
    sheet: object, *, today: date | None, iterations: int | None, seconds: float | None, seed: int
) -> dict[str, Any]:
    """The plan of a sheet parsed from JSON, without the days before `today` when that is given.

    Raises ProblemError naming the item and the field.
    """
    problem, travel = read_problem(sheet, today=today)
    effort = Effort(iterations=iterations, seconds=seconds, seed=seed)
    return written_plan(plan_rounds(problem, travel=travel, effort=effort))
