"""Named errors and named assumptions: what was wrong, and what was taken for granted."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with what is known of a system; ``field`` says where to mend it."""

    reference: str
    field: str
    code: str
    message: str


@dataclass(frozen=True, slots=True)
class Assumption:
    """One thing that was missing, and what was used instead, as a sentence for people."""

    code: str
    field: str
    text: str


class FaultyFacts(ValueError):
    """Raised when a single system cannot be forecast; holds every fault found."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__("; ".join(f"{fault.field}: {fault.message}" for fault in faults))
        self.faults = faults


class BadMeasure(ValueError):
    """A measure that cannot be: ``field`` is its name, the message says why."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field
