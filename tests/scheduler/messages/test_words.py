"""The words of every message: no holes, the usual caution, nothing typed that runs."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.template import engines

from scheduler.messages.words import fill

FOLDER = Path(__file__).resolve().parents[3] / "templates" / "messages"
TEMPLATES = sorted(folder.name for folder in FOLDER.iterdir() if folder.is_dir())
CREWS = {name for name in TEMPLATES if name.startswith("crew_")}
FACTS = {
    "who": "Omar",
    "sender": "Larkholt",
    "phone": "01632 960123",
    "emergency_line": "999",
    "work": "emptying of the septic tank",
    "system": "septic tank",
    "place": "Fold Farm",
    "due": "Wednesday 30 June 2027",
    "is_emptying": True,
    "is_plant": True,
    "when": "Friday 18 June 2027, between 09:00 and 11:00",
    "before": "Thursday 17 June 2027, between 09:00 and 11:00",
    "is_moved": True,
    "reason": "lane flooded",
    "minutes": 30,
    "found": "fat and wipes",
    "visited": "Friday 18 June 2027",
    "taken": "2,700 litres",
    "completed": "Friday 18 June 2027",
    "pack_link": "https://office.example/place/x/papers/y/",
    "pack_number": "HP-1",
    "plan": "Yearly",
    "begins": "1 July 2027",
    "ends": "30 June 2028",
    "new_ends": "30 June 2029",
    "until": "1 July 2027",
    "cancel_by": "14 July 2027",
    "early_start": True,
    "words": "What was agreed.",
    "changes": True,
    "price_now": "£120.00",
    "price_then": "£126.00",
    "lid_back_on": True,
    "next_due": "Sunday 18 June 2028",
    "tanker": "Tanker 1",
    "day": "Friday 18 June 2027",
    "lines": ["09:00 Fold Farm"],
    "link": "https://office.example/place/x/",
    "leave_link": "https://office.example/leave/x/",
    "attached": True,
}


@pytest.fixture
def _holes_show(monkeypatch):
    monkeypatch.setattr(engines["django"].engine, "string_if_invalid", "HOLE<%s>")


@pytest.mark.usefixtures("_holes_show")
@pytest.mark.parametrize("template", TEMPLATES)
def test_no_message_has_a_hole(template):
    words = fill(template, FACTS)
    for text in (words.subject, words.text, words.html):
        assert "HOLE" not in text
        assert "None" not in text
        assert "{" not in text
    assert "\n\n\n" not in words.text


@pytest.mark.parametrize("template", TEMPLATES)
def test_every_message_cautions(template):
    # Health and Safety Executive INDG258: avoid entry; would-be rescuers die too.
    caution = "Nobody enters a tank" if template in CREWS else "never ask you to open the tank"
    words = fill(template, FACTS)
    assert caution in words.text
    assert caution in words.html


@pytest.mark.parametrize("template", TEMPLATES)
def test_what_people_type_is_text_and_never_markup(template):
    typed = "<img src=x>\r\nBcc: sid@else.example"
    words = fill(template, FACTS | dict.fromkeys(("who", "place", "reason", "tanker"), typed))
    assert "<img" not in words.html
    assert "\n" not in words.subject
    assert "&lt;" not in words.text


def test_on_paper_nothing_is_attached():
    assert "attached" not in fill("invite", FACTS | {"attached": False}).text
