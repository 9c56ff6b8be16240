"""How solids build up: the mean curve, its exposure to people, and how far homes differ.

    v(t) = s0 V + R E(t),   E(t) = integral of P(u) d(u^b) + P(0) (B / 85) min(t, 1)

t years since the last emptying, V working volume, R litres a person (at one year) for this
household, P person-equivalents, b the compaction exponent, s0 the share left behind, B a cold
climate's undigested backlog in L/person. With R = 85 and b = 0.85 it repeats Gray 1995: 85 L a
person at 1 year (83 by his rates), 334 at 5 (325).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from servicing.forecasting.year_clock import YearClock

Floats = npt.NDArray[np.float64]

# Power laws through published tables: Gray 0.846, NBR 0.62-0.83, WHO 0.77. Weights of a quarter
# at either end made the likely range too wide on invented homes; these give a spread of 0.08.
EXPONENTS = (0.70, 0.85, 1.00)
EXPONENT_WEIGHTS = (0.15, 0.70, 0.15)
RATE_MEDIAN = 85.0  # L/person at one year; Gray 1995 mean 85.3
RATE_LOG_SD = 0.55  # judgement: pits 0.49 (South Africa), solids over 27 Irish tanks ~0.58

# A crew's dips may be better or worse than usual, and its own dips tell which: multiples of the
# usual error and how likely each is. Judgement, chosen of nine on invented homes; no source.
DIP_ERRORS = (0.7, 2.0)
DIP_ERROR_WEIGHTS = (0.6, 0.4)


@dataclass(frozen=True, slots=True)
class Prior:
    """What a fleet of systems is like before any of them is measured.

    ``median_rate`` in L/person at one year, ``log_sd`` its spread between households,
    ``exponent_weights`` of EXPONENTS, ``dip_error`` the dip error as a multiple of the usual
    one, ``dip_doubt`` how far crews and tanks may differ in it (1 as DIP_ERRORS says, 0 not at
    all), ``systems`` how many taught it.
    """

    median_rate: float = RATE_MEDIAN
    log_sd: float = RATE_LOG_SD
    exponent_weights: tuple[float, float, float] = EXPONENT_WEIGHTS
    dip_error: float = 1.0
    dip_doubt: float = 1.0
    systems: int = 0


BOOK_PRIOR = Prior()


@dataclass(frozen=True, slots=True)
class Columns:
    """n systems side by side: S occupancy steps, K events, all times in years of use.

    ``volume``, ``trigger`` (n,) L; ``log_rate``, ``log_rate_sd`` (n,); ``exponents`` (n, 3);
    ``spell_starts``, ``persons`` (n, S), unused steps start at +inf; ``backlog`` (n,)
    person-equivalents of exposure gained in the first year; ``cycle_start`` (n,);
    ``event_kind`` (n, K) of NOTHING, RESET, DIP; ``event_time`` (n, K); ``event_litres`` and
    ``event_sd`` (n, K): a reset's residue and its sd, or a dip and its sd scale.
    """

    volume: Floats
    trigger: Floats
    log_rate: Floats
    log_rate_sd: Floats
    exponents: Floats
    spell_starts: Floats
    persons: Floats
    backlog: Floats
    event_kind: npt.NDArray[np.int8]
    event_time: Floats
    event_litres: Floats
    event_sd: Floats
    clock: YearClock

    def __len__(self) -> int:
        return len(self.volume)

    def persons_at(self, use: Floats) -> Floats:
        """Person-equivalents at one time of use each, (n,) to (n,)."""
        step = np.maximum((self.spell_starts <= use[:, None]).sum(axis=1) - 1, 0)
        return np.asarray(np.take_along_axis(self.persons, step[:, None], axis=1)[:, 0])


NOTHING, RESET, DIP = 0, 1, 2


def exposure(columns: Columns, start: Floats, until: Floats) -> Floats:
    """E between ``start`` (n,) of a cycle and ``until`` (n, T), in years of use: (n, T, 3).

    Times before the start count as the start. Units: persons x years^b.
    """
    opened = np.maximum(columns.spell_starts, start[:, None]) - start[:, None]  # (n, S)
    opened[:, 0] = 0.0
    closed = np.concatenate([opened[:, 1:], np.full((len(columns), 1), np.inf)], axis=1)
    age = np.maximum(until - start[:, None], 0.0)  # (n, T)
    power = columns.exponents[:, None, :]
    total = np.zeros((*age.shape, columns.exponents.shape[1]))
    for step in range(columns.persons.shape[1]):
        upto = np.minimum(age, closed[:, step, None])[:, :, None] ** power
        since = np.minimum(age, opened[:, step, None])[:, :, None] ** power
        total += columns.persons[:, step, None, None] * (upto - since)
    return total + (columns.backlog[:, None] * np.minimum(age, 1.0))[:, :, None]
