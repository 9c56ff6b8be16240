"""Facts to print, with nothing missing."""

from __future__ import annotations

import datetime as dt

from servicing.documents import HOUSEHOLD, Issuer, Registration, Side, Stamp, TransferNote, Waste

ISSUER = Issuer(
    name="Aftercare Firm", address="1 Yard Lane\nZZ9 9ZZ", phone="01632 960001", email="o@f.example"
)
STAMP = Stamp(
    number="2026-00001",
    issued_on=dt.date(2026, 5, 4),
    check_at="https://ebbmark.example/check/abcdefghijklmnop/",
)


def make_note(**fields: object) -> TransferNote:
    """A note of a household in England with nothing missing."""
    told: dict[str, object] = {
        "issuer": ISSUER,
        "country": "england",
        "waste": Waste(
            code="20 03 04",
            code_is_law=True,
            code_source="List of Wastes: septic tank sludge",
            description="Septic tank sludge, liquid",
            quantity="2,800 L (about 2.8 t, estimated)",
            litres=2800.0,
        ),
        "transferred_on": dt.date(2026, 5, 4),
        "transferred_at": "10:15 to 11:00",
        "place": "House 1, ZZ1 1ZZ",
        "transferor": Side(
            name="Omar Owner",
            address="House 1, ZZ1 1ZZ",
            postcode="ZZ1 1ZZ",
            status="producer of the waste",
        ),
        "activity_code": HOUSEHOLD,
        "carrier": Side(
            name="Aftercare Firm", address="1 Yard Lane, ZZ9 9ZZ", status="registered carrier"
        ),
        "registration": Registration(
            number="TEST-1", valid_from=dt.date(2025, 1, 1), valid_to=dt.date(2028, 1, 1)
        ),
        "origin": "House 1, ZZ1 1ZZ",
        "destination": "North Works",
    }
    return TransferNote(**{**told, **fields})  # type: ignore[arg-type]
