"""Put the rows of a list into the register."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Prefetch

from customers import access
from customers.models import AftercarePlan, Agreement, Organisation, Party, Premises
from servicing.models import Chamber, Occupancy, System, Tank
from servicing.registration import refresh_search_text, refresh_search_text_at, search_text

from .bulk import Author
from .comparison import Compared, Outcome, compare
from .corrections import correct_system
from .people_and_places import PeopleAndPlaces

if TYPE_CHECKING:
    from customers.models import User

    from .rows import SystemRow


@dataclass(slots=True)
class BroughtIn:
    """How many systems were added, changed, found the same, and left as the register has them."""

    added: int = 0
    changed: int = 0
    same: int = 0
    left: int = 0

    @property
    def rows(self) -> int:
        """Rows looked at."""
        return self.added + self.changed + self.same + self.left


@transaction.atomic
def import_systems(
    *,
    organisation: Organisation,
    rows: Iterable[SystemRow],
    by: User | None,
    today: dt.date,
    source: str = "a list",
    take_changes: bool = False,
    progress: Callable[[BroughtIn], None] | None = None,
) -> BroughtIn:
    """Add the systems of a list, all or none, and tell how many.

    A reference that is registered already is not added again; where the list says otherwise than
    the register it is changed only with `take_changes`. `by` is None for somebody at the machine
    itself. `progress` is called after each batch. Raises PermissionDenied for who may not change
    the register.
    """
    if by is not None:
        access.require(by, "register", organisation)
    # Two lists at once would both find a reference free: the second waits here.
    Organisation.objects.select_for_update().get(pk=organisation.pk)
    intake = Intake(organisation, Author(by, f"Brought in from {source}"[:100]), today)
    done = BroughtIn()
    for batch in compare(organisation, rows):
        intake.add([one.row for one in batch if one.outcome == Outcome.ADDED])
        _count(done, batch, intake if take_changes else None)
        if progress:
            progress(done)
    return done


def _count(done: BroughtIn, batch: list[Compared], intake: Intake | None) -> None:
    for one in batch:
        if one.outcome == Outcome.ADDED:
            done.added += 1
        elif one.outcome == Outcome.SAME:
            done.same += 1
        elif intake is None:
            done.left += 1
        else:
            intake.correct(one)
            done.changed += 1


class Intake:
    """One list on its way into one register."""

    def __init__(self, organisation: Organisation, author: Author, today: dt.date) -> None:
        self.organisation = organisation
        self.author = author
        self.today = today
        self.people_and_places = PeopleAndPlaces(organisation, author)
        plans = AftercarePlan.objects.filter(organisation=organisation)
        self.plans = {plan.name: plan for plan in plans}

    def add(self, rows: list[SystemRow]) -> None:
        """Add the systems of some rows with their places, owners, tanks, use and agreements."""
        places = self.people_and_places.places_of(rows)
        owned_anew = self.people_and_places.add_owners(rows, places)
        premises = _with_people(set(places))
        systems = self.author.add(
            System,
            [self._system(row, premises[at]) for row, at in zip(rows, places, strict=True)],
        )
        _refresh_neighbours(owned_anew, {system.pk for system in systems})
        pairs = list(zip(rows, systems, strict=True))
        self.author.add(
            Tank,
            [
                Tank(system=system, working_volume_litres=row.working_volume_litres)
                for row, system in pairs
                if row.working_volume_litres is not None
            ],
        )
        self.author.add(Occupancy, [_use(r, s) for r, s in pairs if r.use.says_something])
        self.author.add(Chamber, [c for row, system in pairs for c in _chambers(row, system)])
        self._add_agreements(rows, places)

    def correct(self, one: Compared) -> None:
        """Change the register to what the list says."""
        assert one.system is not None
        correct_system(one.row, one.system, author=self.author, today=self.today)
        premises = one.system.premises_id
        self.people_and_places.add_owners([one.row], [premises])
        self._add_agreements([one.row], [premises])
        refresh_search_text_at(Premises.objects.get(pk=premises))

    def _system(self, row: SystemRow, premises: Premises) -> System:
        system = System(
            organisation=self.organisation,
            premises=premises,
            reference=row.reference,
            **row.system,
        )
        system.search_text = search_text(system)
        return system

    def _add_agreements(self, rows: list[SystemRow], places: list[int]) -> None:
        """One agreement per place, plan and end, however many systems stand there."""
        wanted = {
            (at, self.plans[row.agreement.plan].pk, row.agreement.ends_on): row.agreement
            for row, at in zip(rows, places, strict=True)
            if row.agreement is not None
        }
        known = set(
            Agreement.objects.filter(premises__in={at for at, _, _ in wanted}).values_list(
                "premises_id", "plan_id", "ends_on"
            )
        )
        plans = {plan.pk: plan for plan in self.plans.values()}
        self.author.add(
            Agreement,
            [
                Agreement(
                    organisation=self.organisation,
                    premises_id=at,
                    plan_id=plan,
                    starts_on=term.starts_on,
                    ends_on=ends_on,
                    price_pence=plans[plan].price_pence,
                )
                for (at, plan, ends_on), term in wanted.items()
                if (at, plan, ends_on) not in known
            ],
        )


def _with_people(keys: set[int]) -> dict[int, Premises]:
    parties = Prefetch("parties", Party.objects.select_related("person"))
    return Premises.objects.prefetch_related(parties).in_bulk(keys)


def _refresh_neighbours(places: set[int], added: set[int]) -> None:
    """Systems registered before at a place with a new owner are found by that name as well."""
    parties = Prefetch("premises__parties", Party.objects.select_related("person"))
    neighbours = System.objects.filter(premises__in=places).exclude(pk__in=added)
    refresh_search_text(neighbours.select_related("premises").prefetch_related(parties))


def _use(row: SystemRow, system: System) -> Occupancy:
    said = row.use
    use = Occupancy(system=system, persons=said.persons, told_by="The list brought in")
    if said.use:
        use.use = said.use
    if said.weeks_per_year is not None:
        use.weeks_per_year = said.weeks_per_year
    use.kitchen_grinder = bool(said.kitchen_grinder)
    return use


def _chambers(row: SystemRow, system: System) -> list[Chamber]:
    """A system that is itself a chamber has one to look into."""
    count = row.chambers or (1 if system.kind == System.Kind.CHAMBER else 0)
    return [Chamber(system=system, label=f"Chamber {n}") for n in range(1, count + 1)]
