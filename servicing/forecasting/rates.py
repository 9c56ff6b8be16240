"""The rate of a household, as quantiles of what its dips leave possible."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from servicing.forecasting.learning import Posterior

Floats = npt.NDArray[np.float64]


def rate_quantiles(posterior: Posterior, chances: tuple[float, ...] = (0.10, 0.50, 0.90)) -> Floats:
    """L a person-equivalent at one year, (n, len(chances)).

    Each node stands for the cell of log rates around it, spread evenly within.
    """
    marginal = posterior.weights.sum(axis=2)
    marginal = marginal / marginal.sum(axis=1, keepdims=True)
    logs = np.log(posterior.rate)
    half = (logs[:, 1] - logs[:, 0])[:, None] / 2
    edges = np.concatenate([logs - half, logs[:, -1:] + half], axis=1)
    reached = np.concatenate([np.zeros((len(logs), 1)), np.cumsum(marginal, axis=1)], axis=1)
    found = []
    rows = np.arange(len(logs))
    for chance in chances:
        step = np.clip((reached < chance).sum(axis=1), 1, edges.shape[1] - 1)
        before, after = reached[rows, step - 1], reached[rows, step]
        part = (chance - before) / np.maximum(after - before, 1e-12)
        width = edges[rows, step] - edges[rows, step - 1]
        found.append(np.exp(edges[rows, step - 1] + np.clip(part, 0.0, 1.0) * width))
    return np.stack(found, axis=1)
