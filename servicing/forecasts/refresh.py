"""Recompute forecasts whose inputs changed or whose figures have aged, and write those rows."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.db import transaction

from servicing.forecasting.faults import BadMeasure, FaultyFacts
from servicing.forecasting.forecast import forecast_systems
from servicing.forecasts.chambers import refresh_chambers
from servicing.forecasts.circumstances import Circumstances, CircumstancesOfAll, promises
from servicing.forecasts.facts import Gathered, Promise, gather
from servicing.forecasts.questions import keep_questions
from servicing.forecasts.reading import OnRecord, read_systems
from servicing.forecasts.rows import Said, forecast_row, missing_row
from servicing.forecasts.strata import stratum_of
from servicing.forecasts.wording import fault_words, measure_words
from servicing.forecasts.writing import Standing, last_said, write_aged, write_rows
from servicing.models import Forecast, System

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from django.db.models import QuerySet

    from servicing.forecasting.accumulation import Prior
    from servicing.forecasting.outcomes import Forecasts, Question

BATCH = 1000
HORIZONS = (0, 30, 60, 90, 180, 365, 730)
CURVE_POINTS = 32
# Dates and reasons stay while nothing new is known; today's level and the odds by a day ahead
# age. A cesspool fills in weeks and is worked out daily; sludge needs no more than weekly.
AGED_AFTER_DAYS = 7
FILLS_QUICKLY = frozenset({System.Kind.CESSPOOL.value, System.Kind.GREASE_TRAP.value})


@dataclass(slots=True)
class Wanted:
    """One system to be worked out."""

    record: OnRecord
    promise: Promise | None
    digest: str
    standing: Standing | None
    known: Gathered | None = None
    faults: list[str] = field(default_factory=list)
    asked: tuple[Question, ...] = ()


def refresh_forecast(system: System, *, today: dt.date) -> Forecast:
    """Forecast one system afresh and give its row."""
    refresh_forecasts(System.objects.filter(pk=system.pk), today=today)
    return Forecast.objects.get(system=system)


def refresh_forecasts(systems: QuerySet[System], *, today: dt.date) -> int:
    """Bring the forecasts of systems in use up to date; gives the number of rows written.

    May be stopped and begun again at any point: each batch is one transaction and a second
    run on the same day changes nothing.
    """
    changed = 0
    circumstances = CircumstancesOfAll(today=today)
    for ids in _batches(systems):
        with transaction.atomic():
            changed += _refresh_batch(ids, circumstances)
    return changed


def _batches(systems: QuerySet[System]) -> Iterator[list[int]]:
    ready = systems.filter(retired_on__isnull=True).order_by("pk").values_list("pk", flat=True)
    last = 0
    while batch := list(ready.filter(pk__gt=last)[:BATCH]):
        yield batch
        last = batch[-1]


def _refresh_batch(ids: list[int], circumstances: CircumstancesOfAll) -> int:
    today = circumstances.today
    records = read_systems(ids)
    promised = promises((one.system.premises_id for one in records.values()), today=today)
    rows = Forecast.objects.filter(system__in=ids).values_list(
        "system_id", "pk", *Standing._fields[1:]
    )
    standing = {row[0]: Standing(*row[1:]) for row in rows}
    fresh: list[Wanted] = []
    aged: list[Wanted] = []
    for pk, record in records.items():
        promise = promised.get(record.system.premises_id)
        ours = circumstances.of(record.system.organisation_id)
        wanted = Wanted(record, promise, ours.fingerprint(record, promise), standing.get(pk))
        if _has_changed(wanted, today):
            fresh.append(wanted)
        elif _has_aged(wanted, today):
            aged.append(wanted)
    return _work_out_anew(fresh, circumstances) + _work_out_levels(aged, circumstances)


def _has_changed(wanted: Wanted, today: dt.date) -> bool:
    """Whether the row says something else than the record; a fault may be mended by time alone."""
    standing = wanted.standing
    if standing is None or standing.inputs_digest != wanted.digest:
        return True
    by_level = standing.state == Forecast.State.READY
    return wanted.record.system.holds_sludge and not by_level and standing.made_on != today


def _has_aged(wanted: Wanted, today: dt.date) -> bool:
    standing = wanted.standing
    if standing is None or standing.state != Forecast.State.READY:
        return False
    days = (today - standing.made_on).days
    quickly = wanted.record.system.kind in FILLS_QUICKLY
    return days != 0 if quickly else days < 0 or days >= AGED_AFTER_DAYS


def _work_out_anew(wanted: list[Wanted], circumstances: CircumstancesOfAll) -> int:
    """Everything of these systems: dates, curve, reasons, chambers, questions."""
    if not wanted:
        return 0
    today = circumstances.today
    inspections = refresh_chambers((one.record for one in wanted), circumstances)
    said = last_said([one.record for one in wanted], today=today)
    rows: dict[int, Forecast] = {}
    for ours, prior, group in _by_lesson(wanted, circumstances):
        _gather_all(group, ours)
        known = [one for one in group if one.known is not None]
        results = _forecast(known, prior, today=today, curve_points=CURVE_POINTS)
        for place, one in enumerate(known):
            rows[one.record.system.pk] = _row(one, results, place, ours, said=said, today=today)
        for one in group:
            system = one.record.system
            if system.pk not in rows:
                rows[system.pk] = missing_row(system, one.faults, today=today, rules=ours.rules)
    for one in wanted:
        row = rows[one.record.system.pk]
        row.inputs_digest = one.digest
        row.inspect_due_on = inspections.get(row.system_id)
        if one.standing is not None:
            row.kept_on, row.kept_due_on = one.standing.kept_on, one.standing.kept_due_on
    keep_questions(
        {one.record.system.pk: (one.record.system, one.asked) for one in wanted}, today=today
    )
    same = [
        one.record.system.pk
        for one in wanted
        if one.standing is not None and one.standing.inputs_digest == one.digest
    ]
    return write_rows(list(rows.values()), same=same, today=today)


def _row(
    one: Wanted,
    results: Forecasts,
    place: int,
    ours: Circumstances,
    *,
    said: dict[int, Said],
    today: dt.date,
) -> Forecast:
    system, known = one.record.system, one.known
    assert known is not None, "only systems with facts are forecast"
    if results.faults[place]:
        faults = [fault_words(fault, known.facts, ours.litres) for fault in results.faults[place]]
        return missing_row(system, faults, today=today, rules=ours.rules)
    one.asked = results.questions[place]
    result = results.of(place)
    return forecast_row(
        system,
        known,
        result,
        today=today,
        ours=ours,
        stratum=stratum_of(one.record),
        said=said.get(system.pk),
    )


def _work_out_levels(wanted: list[Wanted], circumstances: CircumstancesOfAll) -> int:
    """Today's level and the odds by a day ahead; all else stands."""
    changed = 0
    today = circumstances.today
    for ours, prior, group in _by_lesson(wanted, circumstances):
        _gather_all(group, ours)
        known = [one for one in group if one.known is not None]
        results = _forecast(known, prior, today=today, curve_points=0)
        sound = [place for place in range(len(known)) if not results.faults[place]]
        changed += write_aged(
            [(known[place].standing, results.of(place)) for place in sound], today=today
        )
    return changed


def _by_lesson(
    wanted: list[Wanted], circumstances: CircumstancesOfAll
) -> Iterator[tuple[Circumstances, Prior, list[Wanted]]]:
    """Systems that begin from the same lesson together: they are forecast in one go."""
    groups: dict[tuple[int, Prior], list[Wanted]] = {}
    for one in wanted:
        ours = circumstances.of(one.record.system.organisation_id)
        groups.setdefault((ours.organisation.pk, ours.prior_for(one.record)), []).append(one)
    for (organisation_id, prior), group in groups.items():
        yield circumstances.of(organisation_id), prior, group


def _gather_all(group: Sequence[Wanted], ours: Circumstances) -> None:
    """Put the facts of each system that holds sludge beside it, or what is wrong with them."""
    for one in group:
        if not one.record.system.holds_sludge:
            continue
        try:
            one.known = gather(
                one.record, organisation=ours.organisation, rules=ours.rules, promise=one.promise
            )
        except FaultyFacts as faulty:
            one.faults = [f"{fault.field}: {fault.message}" for fault in faulty.faults]
        except BadMeasure as wrong:
            one.faults = [measure_words(wrong)]


def _forecast(
    known: Sequence[Wanted], prior: Prior, *, today: dt.date, curve_points: int
) -> Forecasts:
    return forecast_systems(
        [one.known.facts for one in known if one.known is not None],
        today=today,
        by=[today + dt.timedelta(days=days) for days in HORIZONS],
        prior=prior,
        curve_points=curve_points,
    )
