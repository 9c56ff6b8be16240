"""What can be wrong with a planning problem as a whole, by name.

A fault of one job (no lane, no time, no room) is not an error: that job is left out
of the plan with a sentence saying why. An error here means no plan can be made at all.
"""


class ProblemError(ValueError):
    """A planning problem that cannot be planned; says which item and which field."""

    def __init__(self, message: str, *, item: str = "", field: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.item = item
        self.field = field


class NoTankers(ProblemError):
    """There is nothing to drive."""


class NoWorks(ProblemError):
    """There is nowhere to tip, and a tanker must end its day empty."""


class UnknownId(ProblemError):
    """Something refers to a base, works, tanker or job that is not in the problem."""


class DuplicateId(ProblemError):
    """Two things carry the same id."""


class BadCoordinates(ProblemError):
    """A latitude or longitude that is not on the globe, not a number, or looks swapped."""


class BadQuantity(ProblemError):
    """A volume, length, weight, duration or price that cannot be."""


class BadTimes(ProblemError):
    """Opening hours, a shift or a window that ends before it starts."""


class BadDates(ProblemError):
    """Dates out of order, or a horizon of no days."""


class HorizonInThePast(BadDates):
    """The first day to plan is already over."""


class BadMatrix(ProblemError):
    """A travel matrix of the wrong size, or with values that cannot be."""


class BadSheet(ProblemError):
    """A planning sheet that cannot be read."""
