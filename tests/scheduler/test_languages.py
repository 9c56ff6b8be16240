"""The second language is whole, compiled, and counted by the rules of the CLDR."""

from __future__ import annotations

import datetime as dt
import re
import shutil
import subprocess
from gettext import GNUTranslations, c2py
from pathlib import Path

import pytest
from babel import Locale
from babel.messages.pofile import read_po
from django.conf import settings
from django.core.management import call_command
from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext, ngettext

from customers.languages import ENGLISH
from scheduler.models import Job
from scheduler.owner_phrases import ASSUMED, ASSUMED_OF, assumptions_in_words
from servicing.forecasting.chambers import ADVICE
from servicing.models import Paper, System, Visit
from servicing.volumes import UNIT_NAMES

ROOT = Path(__file__).resolve().parents[2]
OTHERS = [code for code, _ in settings.LANGUAGES if code != ENGLISH]
PLACEHOLDER = re.compile(r"%\((\w+)\)[sd]|%%")


def file_of(code, ending):
    return ROOT / "scheduler" / "locale" / code / "LC_MESSAGES" / f"django.{ending}"


def catalogue(code):
    with file_of(code, "po").open("rb") as file:
        return read_po(file, locale=code)


def entries(code):
    return [one for one in catalogue(code) if one.id]


def forms(words):
    return [words] if isinstance(words, str) else list(words)


@pytest.mark.parametrize("code", OTHERS)
def test_no_sentence_is_left_without_words(code):
    empty = [one.id for one in entries(code) if not all(forms(one.string))]
    doubtful = [one.id for one in entries(code) if one.fuzzy]
    assert empty == []
    assert doubtful == []
    assert len(entries(code)) > 300


@pytest.mark.parametrize("code", OTHERS)
def test_placeholders_agree_in_every_form(code):
    for one in entries(code):
        # English may say "one"; any form of the other language may use what the plural uses.
        wanted = sorted(PLACEHOLDER.findall(forms(one.id)[-1]))
        for text in forms(one.string):
            assert sorted(PLACEHOLDER.findall(text)) == wanted, one.id
            assert text.count("%") == forms(one.id)[-1].count("%"), one.id


@pytest.mark.parametrize("code", OTHERS)
def test_what_is_compiled_is_what_is_written(code):
    # Read by Python's own gettext, which knows nothing of Babel, by which the text is read.
    with file_of(code, "mo").open("rb") as file:
        compiled = GNUTranslations(file)
    for one in entries(code):
        written = forms(one.string)
        if isinstance(one.id, str):
            assert compiled.gettext(one.id) == written[0]
        else:
            found = {compiled.ngettext(*one.id, number) for number in range(30)}
            assert found == set(written)
    assert len(compiled._catalog) - 1 == sum(len(forms(one.string)) for one in entries(code))


@pytest.mark.parametrize("code", OTHERS)
def test_numbers_are_counted_as_the_cldr_says(code):
    # Unicode CLDR plural rules, as carried by Babel; the order of forms is zero … other.
    rule = Locale.parse(code).plural_form
    tags = (*(tag for tag in ("zero", "one", "two", "few", "many") if tag in rule.tags), "other")
    header = re.search(r"nplurals=(\d+); plural=(.*?);", file_of(code, "po").read_text("utf-8"))
    assert int(header[1]) == len(tags)
    counted = c2py(header[2])
    assert [tags[counted(number)] for number in range(1001)] == [rule(n) for n in range(1001)]


def test_welsh_nouns_mutate_after_their_number():
    # Welsh grammar: two takes the soft mutation, three and six the aspirate; from memory.
    with translation.override("cy"):
        said = [
            ngettext("One thing needs putting right", "%(count)s things need putting right", number)
            % {"count": number}
            for number in (1, 2, 3, 4, 6, 11)
        ]
    assert [line.removeprefix("Mae angen cywiro ") for line in said] == [
        "1 peth",
        "2 beth",
        "3 pheth",
        "4 peth",
        "6 pheth",
        "11 peth",
    ]


def labels():
    kinds = (System.Kind, Job.Kind, Paper.Kind, Visit.Abandoned)
    yield from (str(label) for kind in kinds for label in kind.labels)
    yield from ADVICE.values()
    yield from UNIT_NAMES.values()


@pytest.mark.parametrize("code", OTHERS)
def test_whatever_the_register_calls_a_thing_the_owner_reads_in_their_language(code):
    with translation.override(code):
        left = [text for text in labels() if gettext(text) == text]
    assert left == []


LINES = [
    *ASSUMED,
    "No emptying is recorded: counted from the first measurement on 3 March 2021.",
    "No emptying is recorded: counted from its installation on 12 May 2009.",
    "Nobody has looked into it yet: counted from its installation on 1 August 2020.",
    "The tank's size is not known: 3,800 L assumed, from the number of people.",
    "The dip on 2 February 2024 is not used: it is an estimate by eye.",
    "Nobody has measured it: taken to fill like the other tanks that we measured, about 85 L a "
    "person in the first year.",
    "The emptying of 3 May 2026 was in part and nobody wrote down what stayed: reckoned as if "
    "nothing had been taken.",
    "The tank's dimensions are missing: 33% of its volume stands for them.",
    "Nobody told us how many live there: about 3.5 persons taken for 4 bedrooms.",
    "Nobody told us how many live there: about 2.4 persons taken for an unknown house.",
]


@pytest.mark.parametrize("line", LINES)
def test_what_a_forecast_assumed_is_said_in_welsh_with_its_figures(line):
    with translation.override("cy"):
        (said,) = assumptions_in_words([line])
    assert said != line
    assert "%(" not in said
    assert not re.search(r"\b(the|is|are|from|on|of)\b", said)
    figures = re.findall(r"\d[\d.,]*\d|\d", line.removesuffix("."))
    assert [figure for figure in figures if figure not in said] == []


def test_every_pattern_of_an_assumption_is_tried_here():
    tried = {pattern for pattern in ASSUMED_OF for line in LINES if re.fullmatch(pattern, line)}
    assert tried == set(ASSUMED_OF)


def test_welsh_months_and_days_are_those_of_the_cldr():
    # The Unicode CLDR as carried by Babel, against Django's words mended by ours.
    cldr = Locale.parse("cy")
    months, days = cldr.months["format"], cldr.days["format"]["wide"]
    with translation.override("cy"):
        for month in range(1, 13):
            day = dt.date(2027, month, 1)
            assert date_format(day, "F") == months["wide"][month]
            short = date_format(day, "M")
            assert months["abbreviated"][month].startswith(short)
            assert len(short) >= 3
        for day in range(7):
            assert date_format(dt.date(2027, 6, 7 + day), "l") == days[day]


@pytest.mark.skipif(shutil.which("msgfmt") is None, reason="gettext is not installed")
@pytest.mark.parametrize("code", OTHERS)
def test_gettext_itself_finds_nothing_wrong(code, tmp_path):
    out = tmp_path / "out.mo"
    command = ["msgfmt", "--check", "--check-format", "-o", out, file_of(code, "po")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert out.read_bytes() == file_of(code, "mo").read_bytes()


@pytest.mark.skipif(shutil.which("xgettext") is None, reason="gettext is not installed")
@pytest.mark.parametrize("code", OTHERS)
def test_every_sentence_of_the_pages_stands_in_the_catalogue(code, tmp_path):
    """As `makemessages` finds them, in a copy, so that nothing here is written to."""
    for folder in ("customers", "servicing", "scheduler", "templates"):
        ignored = shutil.ignore_patterns("static", "__pycache__", "migrations")
        shutil.copytree(ROOT / folder, tmp_path / folder, ignore=ignored)
    shutil.copy(ROOT / "manage.py", tmp_path)
    locale = tmp_path / "scheduler" / "locale"
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(tmp_path)
        patch.setattr(settings, "LOCALE_PATHS", [str(locale)])
        options = {"extensions": ["html", "txt", "py"], "no_location": True, "verbosity": 0}
        call_command("makemessages", locale=[code], no_obsolete=True, **options)
    with (locale / code / "LC_MESSAGES" / "django.po").open("rb") as file:
        found = {forms(one.id)[0] for one in read_po(file) if one.id}
    assert found == {forms(one.id)[0] for one in entries(code)}
