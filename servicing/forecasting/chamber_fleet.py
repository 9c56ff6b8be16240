"""What a fleet's looks teach about its chambers: how often trouble starts, how much they differ."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import numpy.typing as npt

from servicing.forecasting.chambers import ChamberFacts
from servicing.forecasting.inspection_date import (
    HAZARDS,
    USUAL_CHAMBERS,
    ChamberPrior,
    chamber_faults,
    look_log_likelihood,
    looks_as_counts,
)

Floats = npt.NDArray[np.float64]

MEANS = np.geomspace(0.01, 5.0, 60)  # events a year
SHAPES = np.array([0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 5.0])
MEAN_SD, SHAPE_SD = 0.8, 0.5  # how far a fleet may lie from the usual, log: judgement, no source


def learn_chambers(
    chambers: Sequence[ChamberFacts], *, today: date, kind: str = "chamber"
) -> ChamberPrior:
    """Mean rate and Gamma shape that make all looks of one kind most likely.

    Held to the usual values by weak priors. Faulty chambers are passed over.
    """
    usual = USUAL_CHAMBERS[kind]
    counts = [
        looks_as_counts(chamber)
        for chamber in chambers
        if chamber.kind == kind and not chamber_faults(chamber, today)
    ]
    counts = [looks for looks in counts if looks]
    if not counts:
        return usual
    likelihood = np.array([
        sum((look_log_likelihood(years, events, HAZARDS) for years, events in looks),
            np.zeros_like(HAZARDS))
        for looks in counts
    ])  # fmt: skip
    top = likelihood.max(axis=1, keepdims=True)
    worth = np.array([[_worth(likelihood - top, m, a, usual) for a in SHAPES] for m in MEANS])
    best = np.unravel_index(int(worth.argmax()), worth.shape)
    return ChamberPrior(float(MEANS[best[0]]), float(SHAPES[best[1]]), len(counts))


def _worth(likelihood: Floats, mean: float, shape: float, usual: ChamberPrior) -> float:
    """Log of likelihood and prior of one mean and shape, but for a constant."""
    log_density = shape * np.log(HAZARDS) - HAZARDS * shape / mean
    density = np.exp(log_density - log_density.max())
    together = np.log(np.exp(likelihood) @ (density / density.sum())).sum()
    away = (np.log(mean / usual.mean_rate) / MEAN_SD) ** 2
    away += (np.log(shape / usual.shape) / SHAPE_SD) ** 2
    return float(together - 0.5 * away)
