"""What the planner (the person) asked for: kept with the run, read again by whoever works it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Self

LONGEST_SEARCH_SECONDS = 600


@dataclass(frozen=True, kw_only=True)
class PlanSettings:
    """Choices for one run; ids are public ids as text.

    `litres_quantile` plans on the litres that this share of jobs does not exceed; None plans on
    what is expected. With `ground_saturated` no plastic tank is emptied whole. With
    `split_large` a load larger than any tanker is taken in several visits of one day.
    `happening` is what befell a day whose rest is planned anew. `arrival_minutes` is how much earlier or later than planned an owner is told to expect us. Unless `every_day`,
    nobody drives at weekends or on public holidays, but a single day is planned as asked.
    `after` is an earlier run of the same days whose locked stops stay where they are and whose
    order is the start. `visits` tells of jobs into how many visits they are cut, where that was
    settled before. `promises_open` names jobs whose promised hours may be changed.
    """

    tankers: tuple[str, ...]
    jobs: tuple[str, ...]
    works: tuple[str, ...] = ()
    seconds: int = 10
    iterations: int | None = None
    seed: int = 1
    litres_quantile: float | None = None
    ground_saturated: bool = False
    split_large: bool = True
    arrival_minutes: int = 60
    every_day: bool = False
    after: str = ""
    visits: Mapping[str, int] = field(default_factory=dict)
    promises_open: tuple[str, ...] = ()
    happening: Mapping[str, Any] | None = None

    def as_json(self) -> dict[str, Any]:
        """For `PlanRun.settings`."""
        return asdict(self)

    @classmethod
    def from_json(cls, stored: Mapping[str, Any]) -> Self:
        """From `PlanRun.settings`; what an older row lacks takes its default."""
        known = {name: stored[name] for name in cls.__dataclass_fields__ if name in stored}
        for name in ("tankers", "jobs", "works", "promises_open"):
            known[name] = tuple(known.get(name, ()))
        return cls(**known)
