"""Invented names of farms, lanes, villages and people."""

from __future__ import annotations

import random

FIRST = [
    "Alder",
    "Bracken",
    "Curlew",
    "Dunnock",
    "Ember",
    "Fern",
    "Gorse",
    "Heron",
    "Ivy",
    "Juniper",
    "Kestrel",
    "Linnet",
    "Mallow",
    "Nettle",
    "Osier",
    "Plover",
    "Quince",
    "Redshank",
    "Sallow",
    "Teasel",
    "Umber",
    "Vetch",
    "Whin",
    "Yarrow",
]
LAST = [
    "Barn",
    "Bottom",
    "Cottage",
    "Croft",
    "End",
    "Farm",
    "Grange",
    "Holding",
    "House",
    "Lodge",
    "Mill",
    "Rise",
    "Row",
    "Yard",
]
LANES = [
    "Peewit Lane",
    "Sallow Lane",
    "Long Furrow",
    "Gatepost Lane",
    "Cold Well Road",
    "Marl Pit Lane",
    "Stile Lane",
    "Drover's Turn",
    "Withy Lane",
    "Cinder Path",
    "Hollow Oak Road",
    "Sheepwash Lane",
]
VILLAGES = ["Larkholt", "Nether Marl", "Quillmoor", "Sallowford", "Brindle", "Otterbank"]
GIVEN = [
    "Ada",
    "Bram",
    "Cass",
    "Delphi",
    "Edda",
    "Finn",
    "Greta",
    "Hollis",
    "Isla",
    "Jory",
    "Kit",
    "Lowen",
    "Merryn",
    "Nye",
    "Orla",
    "Perran",
    "Quill",
    "Rowan",
    "Senara",
    "Tamsin",
    "Una",
    "Wren",
    "Ysolde",
]
FAMILY = [
    "Ashdeep",
    "Brockmere",
    "Coldfold",
    "Dewhollow",
    "Elderfen",
    "Fallowgate",
    "Greymarl",
    "Hazelbeck",
    "Inglewater",
    "Kelderway",
    "Lowfurrow",
    "Mossgate",
    "Netherwick",
    "Oxenway",
    "Pebblebrook",
    "Ravenlea",
    "Stonefallow",
    "Thornmere",
    "Underhay",
    "Wetherdale",
]

INVENTED_REASONS = [
    "The house was sold.",
    "Joined the main sewer.",
    "Moves the work to a neighbour.",
]


def farm_names(dice: random.Random, count: int) -> list[str]:
    """Names of places, none twice."""
    every = [f"{first} {last}" for first in FIRST for last in LAST]
    dice.shuffle(every)
    return every[:count]


def person_name(dice: random.Random) -> str:
    """Name of somebody who does not exist."""
    return f"{dice.choice(GIVEN)} {dice.choice(FAMILY)}"


def postcode(village: int, dice: random.Random) -> str:
    """A postcode of an area that no post office uses (ZZ is not allocated)."""
    letters = "ABDEFGHJLNPQRSTUWXYZ"
    return f"ZZ{village + 1} {dice.randint(1, 9)}{dice.choice(letters)}{dice.choice(letters)}"
