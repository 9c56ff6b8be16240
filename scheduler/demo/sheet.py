"""A messy list of past installations, to try bringing one in."""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

from django.conf import settings

HEADINGS = [
    "Job no.",
    "Customer",
    "E-mail",
    "Address",
    "Post code",
    "Grid ref",
    "Type",
    "Tank size",
    "Put in",
    "Last emptied",
    "People",
    "Bedrooms",
    "Remarks",
]


def past_installations(today: dt.date) -> list[list[str]]:
    """Rows as an office has them; two of them cannot be right and will be refused."""

    def ago(days: int, form: str = "%d/%m/%Y") -> str:
        return (today - dt.timedelta(days=days)).strftime(form)

    return [
        [
            "OLD-101",
            "Wren Dewhollow",
            "wren.101@owners.example",
            "Teal Barn, Withy Lane",
            "ZZ3 4AB",
            "SO 297 676",
            "septic tank",
            "600 gal",
            ago(5200),
            ago(690),
            "4",
            "",
            "",
        ],
        [
            "OLD-102",
            "Kit Brockmere",
            "",
            "Plover End, Stile Lane",
            "zz34ad",
            "",
            "Septic",
            "2.8 m3",
            ago(4100, "%Y-%m-%d"),
            ago(1010, "%Y-%m-%d"),
            "2",
            "",
            "dog",
        ],
        [
            "OLD-103",
            "Una Mossgate",
            "una.103@owners.example",
            "Cold Spring, Marl Pit Lane",
            "ZZ3 5QR",
            "",
            "package treatment plant",
            "1500 litres",
            ago(1500),
            ago(400),
            "",
            "3",
            "",
        ],
        [
            "OLD-104",
            "Orla Thornmere",
            "orla.104@owners.example",
            "High Stile, Drover's Turn",
            "ZZ2 1XY",
            "SO 331 702",
            "cesspit",
            "18000",
            ago(7000),
            ago(35),
            "3",
            "",
            "narrow gate",
        ],
        [
            "OLD-105",
            "Lowen Netherwick",
            "",
            "The Old Kiln, Cinder Path",
            "ZZ2 2ZZ",
            "",
            "Septic tank",
            "1000 gallons",
            "",
            ago(800),
            "holiday let",
            "",
            "no idea when put in",
        ],
        [
            "OLD-106",
            "Isla Pebblebrook",
            "isla.106@owners.example",
            "Rushy Bottom, Long Furrow",
            "ZZ5 8GH",
            "",
            "septic tank",
            "",
            ago(3650),
            "",
            "5",
            "4",
            "size not known",
        ],
        [
            "OLD-107",
            "Rowan Stonefallow",
            "rowan.107@owners.example",
            "Gorse House, Sallow Lane",
            "ZZ5 8GK",
            "",
            "septic tank",
            "3800",
            ago(300),
            ago(900),
            "2",
            "",
            "emptied before it was put in?",
        ],
        [
            "OLD-108",
            "Senara Hazelbeck",
            "",
            "Linnet Row, Peewit Lane",
            "ZZ1 7AB",
            "",
            "septic tank",
            "-2800",
            ago(3000),
            ago(500),
            "3",
            "",
            "size cannot be right",
        ],
    ]


def sheet_path() -> Path:
    """Where the list is kept."""
    return Path(settings.DATA) / "try-me" / "past-installations.csv"


def write_sheet(today: dt.date) -> Path:
    """Put the list into the data folder and give its path."""
    path = sheet_path()
    path.parent.mkdir(exist_ok=True)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(HEADINGS)
        writer.writerows(past_installations(today))
    return path
