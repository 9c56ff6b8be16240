"""How long records are kept by the country's profile, and what is past its years."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import models
from django.db.models.functions import Cast

from customers.country_rules import RuleBook
from servicing.models import Paper

if TYPE_CHECKING:
    from customers.erasing import Words
    from customers.models import CountryProfile, Organisation, Person

# Where a profile says nothing: six years, as claims run out then in England (from memory).
USUAL_YEARS = 6
USUAL_WHY = "Six years where no rule says otherwise: from memory, check"


@dataclass(frozen=True)
class Years:
    """How many years records are kept, and who says so."""

    years: int
    source: str
    is_law: bool


def record_years(profile: CountryProfile, today: dt.date) -> Years:
    """Years by the profile on a day; nothing in it: the usual."""
    rule = RuleBook(profile, today).rule("record_years")
    if rule is None:
        return Years(USUAL_YEARS, USUAL_WHY, is_law=False)
    return Years(int(rule.value), rule.source, rule.is_law)


def years_after(day: dt.date, years: int) -> dt.date:
    """The same day so many years on; of 29 February the day after the 28th."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return dt.date(day.year + years, 3, 1)


def years_before(day: dt.date, years: int) -> dt.date:
    """The day on which what becomes free today was written."""
    return years_after(day, -years)


def kept_until(paper: Paper, today: dt.date) -> tuple[dt.date, str]:
    """Until when a paper is kept, and who says so."""
    years = record_years(paper.organisation.profile, today)
    return years_after(paper.issued_on, years.years), years.source


def papers_mentioning(person: Person, words: Words) -> list[Paper]:
    """Papers made out to a person or in whose facts their name or address stands."""
    text = Cast("facts", models.TextField())
    asked = models.Q(person=person)
    for word in words.sought:
        for form in {word, json.dumps(word)[1:-1]}:
            asked |= models.Q(as_text__icontains=form)
    papers = Paper.objects.annotate(as_text=text).filter(asked, organisation=person.organisation)
    return list(papers.listed().defer("content", "facts").order_by("issued_on"))


def past_papers(organisation: Organisation, today: dt.date) -> models.QuerySet[Paper]:
    """Papers of an organisation whose years are over."""
    years = record_years(organisation.profile, today)
    last = years_before(today, years.years)
    return Paper.objects.filter(organisation=organisation, issued_on__lte=last)


def let_go_of_papers(papers: models.QuerySet[Paper]) -> int:
    """Take papers away that are past their years: the one way in which a paper ever goes.

    A paper that a later one names stays until that one's years are over too.
    """
    going = set(papers.values_list("pk", flat=True))
    named_by = dict(Paper.objects.filter(replaces__in=going).values_list("replaces", "pk"))
    while held := {key for key in going if named_by.get(key, key) not in going}:
        going -= held
    gone = 0
    while going:
        last = {key for key in going if named_by.get(key) not in going}
        # Past the guard of issued papers, which stands against mistakes and not against time.
        models.QuerySet(Paper).filter(pk__in=last).delete()
        gone += len(last)
        going -= last
    return gone
