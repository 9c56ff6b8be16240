"""Results of the science put into forecast rows."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from dateutil.relativedelta import relativedelta

from servicing.forecasting.outcomes import MODEL_VERSION
from servicing.forecasts.strata import Stratum
from servicing.forecasts.wording import binding_sentence, day_words, plain_dates, reasons
from servicing.models import Forecast, System

if TYPE_CHECKING:
    from customers.country_rules import RuleBook
    from servicing.forecasting.outcomes import SystemForecast
    from servicing.forecasts.circumstances import Circumstances
    from servicing.forecasts.facts import Gathered
    from servicing.forecasts.reading import SystemRow

CEILING_PREFIX = "ceiling_"
WORTH_A_WORD_DAYS = 7  # a date that moved by less has not moved for anybody


class Said(NamedTuple):
    """What was said of a system before its last visit."""

    due_on: dt.date | None
    rate_p50: float | None
    since: dt.date | None


def forecast_row(
    system: SystemRow,
    known: Gathered,
    result: SystemForecast,
    *,
    today: dt.date,
    ours: Circumstances,
    stratum: str = "",
    said: Said | None = None,
) -> Forecast:
    """Row of a system that could be forecast."""
    ceiling_on, basis = _ceiling(known, result.since)
    due_on, late = from_our_time(system, result.due_on, today)
    result = replace(result, due_on=due_on)
    rule = str(result.binding_rule)
    if rule.startswith(CEILING_PREFIX) and basis:
        rule = CEILING_PREFIX + basis
    binding = binding_sentence(
        rule,
        result,
        ceiling_on=ceiling_on,
        source=known.ceiling_sources.get(basis, ""),
        risk=known.facts.accepted_risk,
    )
    return Forecast(
        # Not system=system: that would become the cached `system.forecast`, the row it replaces.
        system_id=system.pk,
        organisation_id=system.organisation_id,
        state=Forecast.State.READY,
        made_on=today,
        model_version=MODEL_VERSION,
        due_on=due_on,
        binding_rule=rule,
        removal_p10=result.removal_p10,
        removal_p50=result.removal_p50,
        removal_p90=result.removal_p90,
        ceiling_on=ceiling_on,
        level_p10=litres(result.level_p10),
        level_p50=litres(result.level_p50),
        level_p90=litres(result.level_p90),
        trigger_litres=litres(result.trigger_litres),
        working_volume_litres=litres(result.working_volume),
        rate_p50=litres(result.rate_p50),
        dips_used=len(known.facts.dips),
        since=result.since,
        service_due_on=service_due(system, ours.rules),
        over_risk=over_risk(result),
        curve=_curve(result),
        reasons=reasons(
            known.facts,
            result,
            before=_before(result, said),
            litres=ours.litres,
            late=late,
            binding=binding,
        ),
        assumptions=known.assumptions
        + begins_from(known, ours, stratum=stratum)
        + [plain_dates(one.text) for one in result.assumptions],
        questions=[question.text for question in result.questions],
    )


def from_our_time(
    system: SystemRow, due_on: dt.date | None, today: dt.date
) -> tuple[dt.date | None, list[str]]:
    """A due date not earlier than the day we took the system on, and a sentence if it was moved.

    Nobody is years late with a tank he has looked after for months.
    """
    taken_on = min(system.created_at.date(), today)
    if due_on is None or due_on >= taken_on:
        return due_on, []
    moved = (
        f"The date this leads to, {day_words(due_on)}, lies before we looked after it: it counts "
        "from the day we did."
    )
    return taken_on, [moved]


def begins_from(known: Gathered, ours: Circumstances, *, stratum: str) -> list[str]:
    """What a tank that nobody has measured is taken to be like, and who taught it."""
    facts = known.facts
    if facts.dips or facts.kind.value not in {System.Kind.SEPTIC_TANK, System.Kind.PACKAGE_PLANT}:
        return []
    own = ours.strata.get(stratum)
    prior = own or ours.prior
    like = "as the books have it (Gray 1995)"
    if own is not None:
        like = f"like others of its kind that we measured ({Stratum(stratum).label.lower()})"
    elif prior.systems:
        like = "like the other tanks that we measured"
    rate = ours.litres(prior.median_rate)
    return [
        f"Nobody has measured it: taken to fill {like}, about {rate} a person in the first year."
    ]


def _before(result: SystemForecast, said: Said | None) -> SystemForecast | None:
    """The forecast as it stood before the last visit, as far as its sentence asks for it."""
    if said is None or said.rate_p50 is None or said.due_on is None or result.due_on is None:
        return None
    if abs((result.due_on - said.due_on).days) < WORTH_A_WORD_DAYS:
        return None
    as_stored = litres(result.rate_p50) == said.rate_p50
    rate = result.rate_p50 if as_stored else said.rate_p50
    return replace(result, due_on=said.due_on, rate_p50=rate, since=said.since)


def missing_row(
    system: SystemRow, faults: list[str], *, today: dt.date, rules: RuleBook
) -> Forecast:
    """Row of a system whose level cannot be forecast: by its interval alone, or not at all."""
    rule = rules.rule("interval_months", system.kind)
    months = system.ceiling_override_months or system.maker_interval_months
    if rule is not None and not system.ceiling_override_months:
        months = min(months or 999, int(rule.value))
    since = system.last_emptied_on or system.installed_on
    holds = system.holds_sludge
    due_on = since + relativedelta(months=months) if holds and since and months else None
    lines = []
    ceiling_on = due_on
    if due_on and since:
        lines.append(f"{months} months after {day_words(since)}: by interval only.")
        due_on, late = from_our_time(system, due_on, today)
        lines = late + lines
    elif holds:
        lines.append("There is not enough to say when: ask, or dip the tank at the next visit.")
    return Forecast(
        system_id=system.pk,
        organisation_id=system.organisation_id,
        state=Forecast.State.FIXED if due_on else Forecast.State.MISSING,
        made_on=today,
        model_version=MODEL_VERSION,
        due_on=due_on,
        binding_rule="interval" if due_on else "",
        ceiling_on=ceiling_on,
        service_due_on=service_due(system, rules),
        reasons=lines,
        questions=faults,
    )


def service_due(system: SystemRow, rules: RuleBook) -> dt.date | None:
    """Day of the next service of a package plant: maker's interval, else the usual one."""
    if system.kind != System.Kind.PACKAGE_PLANT:
        return None
    rule = rules.rule("service_months", system.kind)
    months = system.service_interval_months or (int(rule.value) if rule else None)
    if months is None:
        return None
    if system.last_serviced_on:
        next_service: dt.date = system.last_serviced_on + relativedelta(months=months)
        return next_service
    # No service is on record: due when we took the system on, unless it was new then.
    taken_on = system.created_at.date()
    new = system.installed_on
    return max(taken_on, new + relativedelta(months=months)) if new else taken_on


def _ceiling(known: Gathered, since: dt.date | None) -> tuple[dt.date | None, str]:
    """Earliest ceiling of this cycle and what it rests on."""
    if since is None:
        return None, ""
    found = [
        (since + relativedelta(months=round(ceiling.months)), ceiling.basis)
        for ceiling in known.facts.ceilings
    ]
    return min(found, default=(None, ""), key=lambda pair: pair[0])


def litres(value: float) -> float:
    """Litres as they are stored: to a tenth."""
    return round(float(value), 1)


def over_risk(result: SystemForecast) -> dict[str, float]:
    """Probability of being over the trigger by ISO date."""
    return {
        day.isoformat(): round(float(risk), 4)
        for day, risk in zip(result.by, result.over_by, strict=True)
    }


def _curve(result: SystemForecast) -> list[list[object]]:
    curve = result.curve
    if curve is None:
        return []
    return [
        [day.isoformat(), round(low), round(middle), round(high)]
        for day, low, middle, high in zip(curve.on, curve.p10, curve.p50, curve.p90, strict=True)
    ]
