"""The cautions stand wherever the work is described: pages, messages, papers, labels.

The facts behind them: Confined Spaces Regulations 1997 and HSE INDG258 (stay out; would-be
rescuers die too), EA incident line. The words are our own.
"""

from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
TEMPLATES = ROOT / "templates"
CAUTION = 'include "includes/caution.html" with who="{}"'

# Where the work is described, and to whom.
PAGES = {
    "scheduler/job.html": "office",
    "scheduler/job_want.html": "office",
    "scheduler/plan_new.html": "office",
    "servicing/system.html": "office",
    "servicing/worth_dipping.html": "crew",
    "scheduler/job_sheet.html": "crew",
    "scheduler/sheet/_cautions.html": "crew",
    "scheduler/round_run_sheet.html": "crew",
    "scheduler/owner.html": "owner",
    "scheduler/owner_trouble.html": "owner",
    "scheduler/owner_advice.html": "owner",
    "scheduler/owner_check.html": "owner",
    "scheduler/owner_sale.html": "owner",
    "scheduler/owner_closed.html": "owner",
    "scheduler/lid.html": "owner",
}
PAPERS = {
    "job_sheet.py": "CREW",
    "run_sheet.py": "CREW",
    "handover_pack.py": "OWNER",
}
# What must never be lost from the words, whoever they are for.
MUST_SAY = {
    "crew": ("Do not enter", "Gas monitor", "Do not go after them", "confined-space rescue"),
    "owner": ("Gas in the tank can kill", "Never reach or climb in", "children", "Stand guard"),
    "office": ("Promise nobody", "float", "check in"),
}


@pytest.mark.parametrize(("page", "who"), PAGES.items())
def test_the_page_shows_the_cautions_of_its_reader(page, who):
    assert CAUTION.format(who) in (TEMPLATES / page).read_text(encoding="utf-8")


def test_every_page_of_a_system_or_job_ends_with_the_short_caution():
    for base in ("base.html", "scheduler/owner_base.html"):
        foot = (TEMPLATES / base).read_text(encoding="utf-8")
        assert "the gas in it can kill" in foot


@pytest.mark.parametrize("message", sorted(TEMPLATES.glob("messages/*/body.*")), ids=str)
def test_every_message_carries_the_cautions_of_the_common_page(message):
    text = message.read_text(encoding="utf-8")
    assert f'extends "messages/_page{message.suffix}"' in text
    if "block cautions" in text:  # in other words, for crews: never empty
        said = text.split("block cautions")[1].lower()
        assert "nobody" in said
        assert len(said) > 80


def test_the_common_page_of_messages_says_it():
    for kind in ("html", "txt"):
        text = (TEMPLATES / f"messages/_page.{kind}").read_text(encoding="utf-8")
        assert "the gas in it can kill" in text
        assert "You only need to leave the cover reachable" in text


@pytest.mark.parametrize(("paper", "caution"), PAPERS.items())
def test_the_paper_carries_the_cautions(paper, caution):
    code = (ROOT / "servicing/documents" / paper).read_text(encoding="utf-8")
    assert f"        {caution}" in code or f" {caution}," in code or f" *{caution}" in code


def test_the_label_on_the_cover_warns():
    label = (ROOT / "servicing/documents/layouts/labels.typ").read_text(encoding="utf-8")
    assert "gas" in label.lower()
    assert "kill" in label.lower()


@pytest.mark.parametrize(("who", "words"), MUST_SAY.items())
def test_what_must_be_said_is_said(who, words):
    text = (TEMPLATES / "includes/caution.html").read_text(encoding="utf-8")
    part = text.split('{% if who == "crew" %}')[1]
    crew, rest = part.split('{% elif who == "owner" %}')
    owner, office = rest.split("{% else %}")
    said = {"crew": crew, "owner": owner, "office": office}[who]
    assert [one for one in words if one not in said] == []
