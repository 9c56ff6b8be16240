"""Score forecasts of the crossing date against the truth of an invented world."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from servicing.forecasting.accumulation import BOOK_PRIOR, Columns, Prior
from servicing.forecasting.columns import columns_of, row_of
from servicing.forecasting.facts import Dip, Emptying, Spell, SystemFacts
from servicing.forecasting.learning import learn
from servicing.forecasting.published_rates import US_GALLON_LITRES, mancl_years
from servicing.forecasting.removal_date import first_passage
from servicing.forecasting.tanks import Tank
from tests.benchmarks.forecasting_worlds import OneCycle

EMPTIED = date(2000, 1, 1)
CHANCES = np.arange(0.01, 1.0, 0.01)
LATEST = 60.0  # years; later crossings, true or forecast, count as this


@dataclass(frozen=True)
class Score:
    """How well dates were forecast; errors are of the time from emptying to crossing."""

    systems: int
    coverage: float  # of the 80 % interval
    before_p10: float
    log_error: float  # median |log|
    bias: float  # median log, above 0 is late
    crps: float  # years


def facts_of(cycle: OneCycle, dips: int) -> list[SystemFacts]:
    """The homes as an installer would know them after so many yearly dips."""
    homes = cycle.homes
    return [
        SystemFacts(
            reference=str(i),
            tank=Tank(float(homes.volume[i])),
            emptyings=(Emptying(EMPTIED),),
            occupancy=(Spell(date(1990, 1, 1), float(homes.reported[i]), float(homes.weeks[i])),),
            dips=tuple(
                Dip(EMPTIED + timedelta(days=round(365.25 * (k + 1))), litres=float(litres))
                for k, litres in enumerate(cycle.dips[i, :dips])
            ),
        )
        for i in range(len(homes))
    ]


def columns_for(cycle: OneCycle, dips: int, prior: Prior = BOOK_PRIOR) -> Columns:
    """The same as columns."""
    return columns_of([row_of(facts, prior) for facts in facts_of(cycle, dips)])


def quantiles_for(columns: Columns, prior: Prior = BOOK_PRIOR) -> np.ndarray:
    """Years from emptying to crossing at each of CHANCES: (n, 99)."""
    passage = first_passage(columns, learn(columns, prior))
    start = columns.event_time[:, :1]
    found = [passage.quantile(np.full(len(columns), chance)) for chance in CHANCES]
    return np.minimum(np.stack(found, axis=1) - start, LATEST)


def still_below(cycle: OneCycle, dips: int) -> np.ndarray:
    """Homes whose tank has not truly crossed by the last of so many dips."""
    return cycle.crossing > dips


def score(cycle: OneCycle, dips: int, quantiles: np.ndarray) -> Score:
    """Score quantiles (n, 99) on the homes not yet over their trigger."""
    kept = still_below(cycle, dips)
    truth, found = cycle.crossing[kept], quantiles[kept]
    inside = (truth >= found[:, 9]) & (truth <= found[:, 89])
    ended = (truth >= LATEST) & (found[:, 89] >= LATEST)
    error = np.log(found[:, 49] / truth)
    return Score(
        systems=int(kept.sum()),
        coverage=float((inside | ended & (truth >= found[:, 9])).mean()),
        before_p10=float((truth < found[:, 9]).mean()),
        log_error=float(np.median(np.abs(error))),
        bias=float(np.median(error)),
        crps=float(crps(truth, found).mean()),
    )


def crps(truth: np.ndarray, quantiles: np.ndarray) -> np.ndarray:
    """Continuous ranked probability score, years: twice the mean pinball loss over 99 quantiles."""
    gap = truth[:, None] - quantiles
    return 2 * np.maximum(CHANCES * gap, (CHANCES - 1) * gap).mean(axis=1)


def baselines(cycle: OneCycle, dips: int, share: float = 1 / 3) -> dict[str, np.ndarray]:
    """Point forecasts in years by four rules that know no doubt: (n,) each."""
    homes = cycle.homes
    n, people = len(homes), homes.reported * homes.weeks / 52
    need = (share - 0.05) * homes.volume
    nominal = np.minimum(need / (85.0 * people), LATEST)
    line = nominal
    if dips:
        slope = (cycle.dips[:, dips - 1] - 0.05 * homes.volume) / dips
        line = np.clip(need / np.maximum(slope, 1e-6), dips, LATEST)
    gallons = homes.volume / US_GALLON_LITRES
    mancl = [mancl_years(g, p) for g, p in zip(gallons, people, strict=True)]
    return {
        "every 12 months": np.ones(n),
        "Mancl's table": np.minimum(np.array(mancl), LATEST),
        "nominal rate": nominal,
        "line through last dip": line,
    }


def point_crps(cycle: OneCycle, dips: int, forecast: np.ndarray) -> float:
    """CRPS of a point forecast: its mean absolute error, years; never before the last dip."""
    kept = still_below(cycle, dips)
    return float(np.abs(cycle.crossing[kept] - np.maximum(forecast[kept], dips)).mean())
