"""Places and people of a list: those the register knows are used again, the others added once."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.db.models import Q

from customers.models import Party, Person, Premises

from .bulk import Author

if TYPE_CHECKING:
    from customers.models import Organisation

    from .rows import Owner, Place, SystemRow

PlaceKey = tuple[str, ...]
PersonKey = tuple[str, ...]


def place_key(place: Place | Premises) -> PlaceKey:
    """What tells one place from another: postcode, name and address, else the position."""
    words = (place.postcode.replace(" ", ""), place.name, place.address, place.town)
    key = tuple(" ".join(word.casefold().split()) for word in words)
    return key if any(key) else (f"{place.latitude}", f"{place.longitude}")


def person_key(owner: Owner | Person, premises_id: int) -> PersonKey:
    """What tells one person from another; a bare name only counts at one place."""
    name = " ".join(owner.name.casefold().split())
    reached = (owner.email.casefold(), owner.phone)
    return (name, *reached) if any(reached) else (name, f"at {premises_id}")


class PeopleAndPlaces:
    """Finds or adds the places and people of one list, remembering keys instead of rows."""

    def __init__(self, organisation: Organisation, author: Author) -> None:
        self.organisation = organisation
        self.author = author
        self._places: dict[PlaceKey, int] = {}
        self._people: dict[PersonKey, int] = {}
        self._owners: set[tuple[int, int]] = set()
        self._recalled_postcodes: set[str] = set()

    def places_of(self, rows: Iterable[SystemRow]) -> list[int]:
        """Return the key of the place of each row, adding what is not there yet."""
        wanted = [(place_key(row.place), row.place) for row in rows]
        self._recall_places([place for key, place in wanted if key not in self._places])
        fresh = {key: place for key, place in wanted if key not in self._places}
        added = self.author.add(Premises, [self._premises(place) for place in fresh.values()])
        self._places |= {key: one.pk for key, one in zip(fresh, added, strict=True)}
        return [self._places[key] for key, _ in wanted]

    def add_owners(self, rows: Iterable[SystemRow], places: Iterable[int]) -> set[int]:
        """Make the owner of each row an owner of its place, unless they are that already.

        Gives the keys of the places that got a new owner.
        """
        wanted = [
            (person_key(row.owner, place), row.owner, place)
            for row, place in zip(rows, places, strict=True)
            if row.owner is not None
        ]
        self._recall_people([owner for key, owner, _ in wanted if key not in self._people])
        self._recall_owners({place for _, _, place in wanted})
        fresh = {key: owner for key, owner, _ in wanted if key not in self._people}
        added = self.author.add(Person, [self._person(owner) for owner in fresh.values()])
        self._people |= {key: one.pk for key, one in zip(fresh, added, strict=True)}
        pairs = dict.fromkeys((place, self._people[key]) for key, _, place in wanted)
        new = [pair for pair in pairs if pair not in self._owners]
        self.author.add(
            Party,
            [Party(premises_id=at, person_id=who, role=Party.Role.OWNER) for at, who in new],
        )
        self._owners |= set(new)
        return {at for at, _ in new}

    def _premises(self, place: Place) -> Premises:
        return Premises(
            organisation=self.organisation,
            name=place.name,
            address=place.address,
            town=place.town,
            postcode=place.postcode,
            latitude=place.latitude,
            longitude=place.longitude,
            location_source=place.location_source,
            access_note=place.access_note,
        )

    def _person(self, owner: Owner) -> Person:
        return Person(
            organisation=self.organisation, name=owner.name, email=owner.email, phone=owner.phone
        )

    def _recall_places(self, places: list[Place]) -> None:
        postcodes = {place.postcode for place in places if place.postcode}
        postcodes -= self._recalled_postcodes
        self._recalled_postcodes |= postcodes
        bare = [place for place in places if not place.postcode]
        asked = Q(postcode__in=postcodes)
        asked |= Q(postcode="", name__in={place.name for place in bare})
        mine = Premises.objects.filter(organisation=self.organisation)
        for premises in mine.filter(asked).order_by("pk").iterator():
            self._places.setdefault(place_key(premises), premises.pk)

    def _recall_people(self, owners: list[Owner]) -> None:
        emails = {owner.email for owner in owners if owner.email}
        phones = {owner.phone for owner in owners if owner.phone}
        mine = Person.objects.filter(organisation=self.organisation)
        reached = mine.filter(Q(email__in=emails) | Q(phone__in=phones))
        for person in reached.order_by("pk").iterator():
            self._people.setdefault(person_key(person, 0), person.pk)

    def _recall_owners(self, places: set[int]) -> None:
        parties = Party.objects.filter(premises__in=places, role=Party.Role.OWNER, until=None)
        for party in parties.select_related("person"):
            self._owners.add((party.premises_id, party.person_id))
            self._people.setdefault(person_key(party.person, party.premises_id), party.person_id)
