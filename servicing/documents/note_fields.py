"""Which particulars a waste transfer note must carry, by country, with the rule that says so.

Regulation 35(2) of the Waste (England and Wales) Regulations 2011 (SI 2011/988); regulation 3(3)
of the Environmental Protection (Duty of Care) (Scotland) Regulations 2014 (SSI 2014/4);
regulation 2 of the Controlled Waste (Duty of Care) Regulations (Northern Ireland) 2002 as
substituted by SR 2013/255. Every note prints the union of their fields; a field is refused when
it is empty only where the country of the place asks for it.
"""

from __future__ import annotations

from dataclasses import dataclass

ENGLAND_AND_WALES = frozenset({"england", "wales"})
SCOTLAND = frozenset({"scotland"})
NORTHERN_IRELAND = frozenset({"northern-ireland"})
EVERYWHERE = ENGLAND_AND_WALES | SCOTLAND | NORTHERN_IRELAND


@dataclass(frozen=True)
class NoteField:
    """One particular: who asks for it, and what to do when it is missing."""

    key: str
    name: str
    asked_by: frozenset[str]
    how: str


@dataclass(frozen=True)
class Law:
    """The rule behind the note of a country."""

    name: str
    hierarchy: str = ""
    to_check: tuple[str, ...] = ()


FIELDS = (
    NoteField("code", "The waste code", EVERYWHERE, "add it to the country profile."),
    NoteField("description", "The description", EVERYWHERE, "say what kind of system it is."),
    NoteField("quantity", "The quantity", EVERYWHERE, "record the litres taken out."),
    NoteField("containment", "Loose or contained", EVERYWHERE, "say how it was carried."),
    NoteField("date", "The date", EVERYWHERE, "record the day of the visit."),
    NoteField(
        "time",
        "The time",
        ENGLAND_AND_WALES | NORTHERN_IRELAND,
        "correct the visit so that it says when the crew was on site.",
    ),
    NoteField("place", "The place of transfer", EVERYWHERE, "give the premises an address."),
    NoteField(
        "activity",
        "The SIC code of the transferor's activity",
        EVERYWHERE,
        "ask the customer; a household has none.",
    ),
    NoteField(
        "transferor",
        "The transferor's name and address",
        EVERYWHERE,
        "name an owner, occupier or operator of the premises, with an address.",
    ),
    NoteField(
        "transferee",
        "The carrier's name and address",
        EVERYWHERE,
        "give your organisation its address in the settings.",
    ),
    NoteField("postcodes", "The postcode of the place", SCOTLAND, "give the premises a postcode."),
    NoteField(
        "transferor_status",
        "What the transferor is",
        EVERYWHERE,
        "say whether it produced the waste.",
    ),
    NoteField(
        "transferee_status",
        "What the carrier is",
        ENGLAND_AND_WALES | NORTHERN_IRELAND,
        "say that it is a registered carrier.",
    ),
    NoteField(
        "hierarchy",
        "The confirmation about the waste hierarchy",
        ENGLAND_AND_WALES | NORTHERN_IRELAND,
        "it is printed.",
    ),
    NoteField("origin", "The origin", NORTHERN_IRELAND, "give the premises an address."),
    NoteField(
        "destination",
        "The destination",
        NORTHERN_IRELAND,
        "record where the load was tipped.",
    ),
    NoteField("signatures", "Both signatures", EVERYWHERE, "they are signed on paper."),
)

REGULATIONS = {
    **dict.fromkeys(
        ("england", "wales"),
        Law(
            "Waste (England and Wales) Regulations 2011 (SI 2011/988), regulation 35(2)",
            "The transferor has applied the waste hierarchy as regulation 12 of the same "
            "Regulations requires.",
        ),
    ),
    "scotland": Law(
        "Environmental Protection (Duty of Care) (Scotland) Regulations 2014 (SSI 2014/4), "
        "regulation 3(3)",
    ),
    "northern-ireland": Law(
        "Controlled Waste (Duty of Care) Regulations (Northern Ireland) 2002, regulation 2, as "
        "substituted by SR 2013/255",
        "",
        (
            "The transferor confirms that the waste hierarchy was applied; whether the note must "
            "say so here is not confirmed.",
        ),
    ),
}

HOUSEHOLDERS = (
    "A householder need not complete a transfer note but must hand waste only to an authorised "
    "person. This note is issued all the same, as evidence of that."
)

UNKNOWN_LAW = (
    "Which particulars the law of this country asks for is not confirmed. The note carries those "
    "of the whole United Kingdom; ask the local authority what else it wants, such as the permit "
    "number, the weight and the destination."
)


def asked_for(country: str) -> tuple[NoteField, ...]:
    """Particulars that the country asks for; where no rule is known, those every rule asks for."""
    if country not in REGULATIONS:
        return tuple(field for field in FIELDS if field.asked_by == EVERYWHERE)
    return tuple(field for field in FIELDS if country in field.asked_by)
