"""Figures, days and frames as pages show them."""

from __future__ import annotations

import datetime as dt

import pytest
from django import forms
from django.template import Context, Template
from django.test import RequestFactory
from django.urls import reverse

from customers.models import Organisation
from scheduler.models import Job
from scheduler.templatetags.form_errors import form_error_lines
from scheduler.templatetags.marks import due_tag, state_tag
from scheduler.templatetags.navigation import places
from scheduler.templatetags.units import days_away, span_in_words
from servicing import volumes

TODAY = dt.date(2026, 11, 25)
SPACE = "\N{NO-BREAK SPACE}"


def shown(text: str, **context) -> str:
    return Template("{% load units marks navigation %}" + text).render(Context(context))


# Weights and Measures Act 1985, Schedule 1: 1 gallon = 4.54609 L.
# NIST Handbook 44, Appendix C: 1 US gallon = 231 cubic inches = 3.785411784 L.
@pytest.mark.parametrize(
    ("units", "litres", "text"),
    [
        ("litres", 3800, f"3,800{SPACE}L"),
        ("imperial_gallons", 4546.09, f"1,000{SPACE}gal"),
        ("us_gallons", 3785.411784, f"1,000{SPACE}US{SPACE}gal"),
    ],
)
def test_volumes_come_in_the_organisations_units(units, litres, text):
    organisation = Organisation(units=units)
    assert shown("{% volume v %}", v=litres, organisation=organisation) == text
    assert volumes.to_litres(1000 if units != "litres" else 3800, units) == pytest.approx(litres)


def test_a_us_gallon_is_231_cubic_inches():
    assert volumes.LITRES_PER_UNIT["us_gallons"] == pytest.approx(231 * 2.54**3 / 1000, rel=1e-12)


def test_depths_are_inches_only_beside_us_gallons():
    assert shown("{% depth 254 %}") == f"254{SPACE}mm"
    american = Organisation(units="us_gallons")
    assert shown("{% depth 254 %}", organisation=american) == f"10.0{SPACE}in"


@pytest.mark.parametrize(
    "text",
    [
        "{% volume x %}",
        "{% depth x %}",
        "{{ x|metres }}",
        "{{ x|day }}",
        "{{ x|money }}",
        "{{ x.y|percent }}",
        "{{ x|tonnes }}",
    ],
)
def test_what_is_not_known_is_a_dash(text):
    assert shown(text, x=None) == "–"
    assert shown(text) == "–"


def test_nothing_is_a_figure_and_not_unknown():
    assert shown("{% volume 0 %}") == f"0{SPACE}L"
    assert shown("{{ 0|money }}") == "£0.00"


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (1, "1 day"),
        (13, "13 days"),
        (14, "2 weeks"),
        (59, "8 weeks"),
        (60, "2 months"),
        (729, "24 months"),
        (730, "2 years"),
    ],
)
def test_spans_are_told_in_the_largest_unit_that_says_enough(days, words):
    assert span_in_words(days) == words


def test_days_away_look_both_ways():
    assert days_away(TODAY, TODAY) == "today"
    assert days_away(TODAY + dt.timedelta(days=3), TODAY) == "in 3 days"
    assert days_away(TODAY - dt.timedelta(days=3), TODAY) == "3 days ago"
    assert days_away(None, TODAY) == ""


@pytest.mark.parametrize(
    ("days", "words", "look"),
    [
        (-3, "Overdue by 3 days", "over"),
        (0, "Due today", "over"),
        (60, "Due in 2 months", "soon"),
        (61, "Due in 2 months", "calm"),
    ],
)
def test_a_due_day_is_told_in_words_and_by_look(days, words, look):
    html = due_tag(TODAY + dt.timedelta(days=days), TODAY)
    assert html == f'<span class="tag tag-{look}">{words}</span>'


def test_an_unknown_day_is_called_so():
    assert "Not known" in due_tag(None, TODAY)


@pytest.mark.parametrize("state", Job.State.values)
def test_every_state_of_a_job_has_its_word(state):
    assert Job.State(state).label in state_tag(Job(state=state))


@pytest.mark.parametrize(
    ("path", "current"),
    [
        ("/register/people/", "Register"),
        ("/organisation/plans/", "Organisation"),
        ("/elsewhere/", ""),
    ],
)
def test_the_place_one_is_in_is_marked(path, current):
    found = places({"request": RequestFactory().get(path)})["places"]
    assert [one.name for one in found if one.current] == ([current] if current else [])


def test_all_six_places_lead_somewhere():
    html = shown("{% places %}", request=RequestFactory().get("/"))
    assert html.count("<a ") == 6


def test_crumbs_end_with_the_page_itself():
    html = shown('{% crumbs "Register" "/r/" "LD-1" %}')
    assert '<a href="/r/">Register</a>' in html
    assert '<span aria-current="page">LD-1</span>' in html


def test_errors_of_several_forms_come_in_the_order_of_the_page():
    class Small(forms.Form):
        one = forms.IntegerField()

    first, second = Small({"a-one": "x"}, prefix="a"), Small({}, prefix="b")
    lines = form_error_lines(forms=[first, second])
    assert [line.field_id for line in lines] == ["id_a-one", "id_b-one"]
    assert lines[0].label == "One"


def test_the_mark_leads_home():
    assert shown("{% home_address %}") == reverse("scheduler:desk")
