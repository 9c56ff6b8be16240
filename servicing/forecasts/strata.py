"""Kinds of place that fill alike: each may teach a lesson of its own, apart from the firm's."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from django.db.models import F

from servicing.forecasts.facts import NBR_USES
from servicing.models import Occupancy, StratumLearning, System

if TYPE_CHECKING:
    from collections.abc import Sequence

    from servicing.forecasts.reading import OnRecord

Stratum = StratumLearning.Stratum
# Below so many weeks a year a home is not lived in all year: judgement, no source.
ALL_YEAR_WEEKS = 40.0


def stratum_of(record: OnRecord) -> str:
    """The kind of place a system belongs to; empty for what fills by another law."""
    last = record.occupancies[-1] if record.occupancies else None
    if last is None:
        return _stratum(record.system.kind, None, 52.0, None)
    return _stratum(record.system.kind, last.use, last.weeks_per_year, last.season_starts_month)


def strata_of(ids: Sequence[int]) -> dict[int, str]:
    """The kind of place of each of these systems, in two questions for any number."""
    spells = {
        pk: (use, weeks, season)
        for pk, use, weeks, season in Occupancy.objects.filter(system__in=ids)
        .order_by(F("since").asc(nulls_first=True), "pk")
        .values_list("system_id", "use", "weeks_per_year", "season_starts_month")
    }
    kinds = System.objects.filter(pk__in=ids).order_by("pk").values_list("pk", "kind")
    return {pk: _stratum(kind, *spells.get(pk, (None, 52.0, None))) for pk, kind in kinds}


def how_many(ids: Sequence[int]) -> dict[str, int]:
    """How many of these systems each kind of place has."""
    return dict(Counter(stratum for stratum in strata_of(ids).values() if stratum))


def _stratum(kind: str, use: str | None, weeks: float, season_starts: int | None) -> str:
    if kind == System.Kind.PACKAGE_PLANT:
        return Stratum.PLANT.value
    if kind != System.Kind.SEPTIC_TANK:
        return ""
    if use in NBR_USES:
        return Stratum.BUSINESS.value
    away = use == Occupancy.Use.HOLIDAY_LET or weeks < ALL_YEAR_WEEKS or season_starts
    return Stratum.PART_YEAR.value if away else Stratum.HOUSE.value
