"""What is on board a tanker: litres collected by its sheets, litres tipped, and what is left over.

The ledger is reckoned afresh from sheets and tickets each time, so that a sheet that comes in late
or is corrected puts the figures right. Within a round the order is that of its stops.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.db.models import F

from customers.country_rules import RuleBook
from scheduler.models import Stop, Tip
from servicing.models import System

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from scheduler.models import Tanker, Works
    from servicing.models import Visit

# How far back a load may reach that was never tipped: common practice, no source.
LOOK_BACK = dt.timedelta(days=14)
LAST_OF_DAY = 10_000


@dataclass(frozen=True, kw_only=True)
class Collected:
    """What one sheet says was taken on board. `litres` is None where nobody measured it."""

    stop: Stop
    visit: Visit
    litres: float | None
    order: tuple[dt.date, int]

    @property
    def system(self) -> System:
        """Where it came from."""
        return self.visit.system

    @property
    def kind(self) -> str:
        """Kind of system, by which waste is told apart."""
        return self.visit.system.kind


@dataclass(frozen=True, kw_only=True)
class Tipped:
    """One ticket beside what the sheets say was on board."""

    tip: Tip
    expected: float
    load: tuple[Collected, ...]
    tolerance_percent: int
    order: tuple[dt.date, int]

    @property
    def difference(self) -> float:
        """Litres tipped above what was collected; below nothing where less was tipped."""
        return self.tip.litres - self.expected

    @property
    def adds_up(self) -> bool:
        """Whether the ticket agrees with the sheets; of a part tipped only a surplus speaks."""
        if not self.tip.emptied_out and self.difference <= 0:
            return True
        allowed = self.tolerance_percent / 100 * max(self.expected, self.tip.litres)
        return abs(self.difference) <= allowed

    @property
    def gap(self) -> float:
        """Size of the difference, litres."""
        return abs(self.difference)

    @property
    def unmeasured(self) -> int:
        """Sheets of this load without litres."""
        return sum(1 for one in self.load if one.litres is None)

    @property
    def is_mixed(self) -> bool:
        """Whether wastes of different codes came in one load."""
        return len(self.tip.waste_codes) > 1


@dataclass
class Book:
    """A tanker's ledger over some days, in the order in which things happened."""

    tanker: Tanker
    lines: list[Collected | Tipped] = field(default_factory=list)
    on_board: list[Collected] = field(default_factory=list)
    litres_on_board: float = 0.0

    @property
    def tips(self) -> list[Tipped]:
        """Tickets only."""
        return [line for line in self.lines if isinstance(line, Tipped)]

    @property
    def collected_litres(self) -> float:
        """All that came on board."""
        return sum(line.litres or 0 for line in self.lines if isinstance(line, Collected))

    @property
    def tipped_litres(self) -> int:
        """All that went out."""
        return sum(line.tip.litres for line in self.tips)


def book_of(
    tanker: Tanker, first: dt.date, last: dt.date, *, before: tuple[dt.date, int] | None = None
) -> Book:
    """The ledger of a tanker from `first` to `last`, both included.

    What was on board when the first day began is carried in, without lines. With `before`, what
    came at or after that place in the order is left out.
    """
    found: list[Collected | Tip] = [*collected_by(tanker, first - LOOK_BACK, last)]
    found += tips_of(tanker, first - LOOK_BACK, last)
    found.sort(key=order_of)
    book = Book(tanker)
    for one in found:
        if before is not None and order_of(one) >= before:
            break
        line = take_in(book, one)
        if order_of(one)[0] >= first:
            book.lines.append(line)
    return book


def take_in(book: Book, one: Collected | Tip) -> Collected | Tipped:
    """Book one thing; gives its line."""
    if isinstance(one, Collected):
        book.on_board.append(one)
        book.litres_on_board += one.litres or 0
        return one
    line = Tipped(
        tip=one,
        expected=book.litres_on_board,
        load=tuple(book.on_board),
        tolerance_percent=book.tanker.organisation.tip_tolerance_percent,
        order=order_of(one),
    )
    if one.emptied_out:
        book.on_board, book.litres_on_board = [], 0.0
    else:
        book.litres_on_board = max(0.0, book.litres_on_board - one.litres)
    return line


def order_of(one: Collected | Tip) -> tuple[dt.date, int]:
    """Day of the round and place in it; a ticket without its stop comes last on its day."""
    if isinstance(one, Collected):
        return one.order
    day = one.round.day if one.round is not None else one.tipped_at.date()
    return day, one.stop.position if one.stop is not None else LAST_OF_DAY


def tips_of(tanker: Tanker, first: dt.date, last: dt.date) -> list[Tip]:
    """Tickets of a tanker between two days."""
    rows = Tip.objects.filter(tanker=tanker).select_related("works", "round", "stop")
    one_day = dt.timedelta(days=1)
    near = rows.filter(tipped_at__date__range=(first - one_day, last + one_day))
    return [tip for tip in near if first <= order_of(tip)[0] <= last]


def collected_by(tanker: Tanker, first: dt.date, last: dt.date) -> list[Collected]:
    """What the sheets of a tanker's rounds say was taken out between two days.

    A sheet counts where it was filled in on the day of the round. Of a job driven in parts, each
    stop has the share of the litres that its load was planned with.
    """
    stops = (
        Stop.objects.filter(
            round__accepted_at__isnull=False,
            round__day__range=(first, last),
            job__visit__emptying__isnull=False,
            job__visit__visited_on=F("round__day"),
        )
        .filter(job__stops__round__tanker=tanker)
        .select_related("round", "job__visit__emptying", "job__visit__system__premises")
        .select_related("job__visit__system__organisation__profile")
        .distinct()
        .order_by("round__day", "position")
    )
    by_job: dict[int, list[Stop]] = defaultdict(list)
    for stop in stops:
        if stop.job_id is not None:
            by_job[stop.job_id].append(stop)
    found = [one for parts in by_job.values() for one in shared_out(parts)]
    return [one for one in found if one.stop.round.tanker_id == tanker.pk]


def shared_out(parts: Sequence[Stop]) -> Iterable[Collected]:
    """The litres of one sheet over the stops at which they were taken."""
    weights = [taken_or_planned(stop) for stop in parts] if len(parts) > 1 else [1.0]
    if not sum(weights):
        weights = [1.0] * len(parts)
    for stop, weight in zip(parts, weights, strict=True):
        assert stop.job is not None
        assert stop.job.visit is not None
        litres = stop.job.visit.emptying.litres_removed
        yield Collected(
            stop=stop,
            visit=stop.job.visit,
            litres=None if litres is None else litres * weight / sum(weights),
            order=(stop.round.day, stop.position),
        )


def taken_or_planned(stop: Stop) -> float:
    """What was noted at one of several visits, else what the plan meant to take."""
    return planned_litres(stop) if stop.taken_litres is None else float(stop.taken_litres)


def planned_litres(stop: Stop) -> float:
    """What the plan meant to take on board at a stop."""
    before = (
        Stop.objects.filter(round_id=stop.round_id, position__lt=stop.position)
        .order_by("-position")
        .values_list("load_after_litres", flat=True)
        .first()
    )
    return float(max(0, stop.load_after_litres - (before or 0)))


def kinds_of(load: Iterable[Collected]) -> list[str]:
    """Kinds of waste in a load, each once."""
    return sorted({one.kind for one in load})


def not_taken(works: Works, load: Iterable[Collected]) -> list[str]:
    """Kinds in the load that the works does not take; a works that names none takes all."""
    return [kind for kind in kinds_of(load) if works.accepts and kind not in works.accepts]


def codes_of(works: Works, load: Iterable[Collected], on: dt.date) -> list[str]:
    """Codes under which the works takes this load on a day: its own, else those of the country."""
    own = own_codes(works, on)
    books: dict[int, RuleBook] = {}
    found = set()
    for one in load:
        profile = one.system.organisation.profile
        book = books.setdefault(profile.pk, RuleBook(profile, on))
        rule = book.rule("waste_code", one.kind)
        code = own.get(one.kind) or (str(rule.value) if rule else "")
        found |= {code} if code else set()
    return sorted(found)


def own_codes(works: Works, on: dt.date) -> dict[str, str]:
    """Codes a works has of its own on a day, by kind of system; of two the later begun counts."""
    rows = works.waste_codes.filter(valid_from__lte=on).order_by("valid_from")
    return {row.system_kind: row.code for row in rows if row.valid_to is None or row.valid_to >= on}
