"""The ladder of reminders: its steps, their words with a look at a real case, hours for writing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.contrib import messages as notices
from django.http import Http404
from django.shortcuts import redirect, render
from django.urls import path, reverse

from customers import access
from customers.access import member_required
from customers.form_pages import Crumb, FormPage, form_page
from customers.languages import ENGLISH, each_language
from customers.middleware import organisation_of, user_of
from scheduler.forms.ladder import RulesForm, StepForm
from scheduler.messages.own_ladder import (
    TITLES,
    USUAL,
    OwnWords,
    ladder_of,
    set_step,
    set_telling_rules,
)
from scheduler.messages.preview import preview
from scheduler.messages.timing import hours_of, rules_of
from scheduler.messages.words import Unfilled
from scheduler.models import LadderStep, TellingRules

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from scheduler.messages.words import Words
    from scheduler.models import Job


def path_here() -> list[Crumb]:
    """Path to the list of steps."""
    return [
        Crumb("Messages", reverse("scheduler:messages")),
        Crumb("Reminders", reverse("scheduler:ladder")),
    ]


@member_required
def ladder(request: HttpRequest) -> HttpResponse:
    """Show every step with its day, and the hours for writing."""
    organisation = organisation_of(request)
    own = ladder_of(organisation)
    days = {step.name: step.days for step in (*own.offers, *own.reminders)}
    rules = rules_of(organisation)
    order = rules.order if rules else TellingRules.Order.EMAIL_FIRST
    names = dict(settings.LANGUAGES)
    steps = [
        (name, title, days.get(name), [names.get(code, code) for code in own.words.get(name, {})])
        for name, title in TITLES.items()
    ]
    context = {
        "steps": steps,
        "hours": hours_of(organisation),
        "order": TellingRules.Order(order).label,
        "may_manage": access.may(request.user, "manage", organisation),
    }
    return render(request, "scheduler/messages/ladder.html", context)


@member_required
def ladder_step(request: HttpRequest, name: str) -> HttpResponse:
    """Change a step, or look at what it would say before keeping it."""
    if name not in TITLES:
        raise Http404
    organisation = organisation_of(request)
    access.require(request.user, "manage", organisation)
    form = StepForm(request.POST or None, step=name, initial=initial_of(request, name))
    looked, seen = False, []
    if request.method == "POST" and form.is_valid():
        looked = "look" in request.POST
        if not looked:
            keep_step(request, form)
            return redirect("scheduler:ladder")
        try:
            seen = look(request, form)
        except Unfilled as hole:
            form.add_error(None, str(hole))
            looked = False
    page = FormPage(TITLES[name], "Save", reverse("scheduler:ladder"), path_here())
    template = "scheduler/messages/ladder_step.html"
    return form_page(request, page, form, template=template, seen=seen, looked=looked)


def look(request: HttpRequest, form: StepForm) -> list[tuple[str, str, Words, Job]]:
    """How a step would read in every language: code and name of it, the words, and the job."""
    said = {ENGLISH: OwnWords(form.cleaned_data["subject"], form.cleaned_data["words"])}
    said |= form.other_words()
    seen = []
    for code in each_language():
        shown = preview(organisation_of(request), form.step, said[code])
        if shown is not None:
            seen.append((code, dict(settings.LANGUAGES)[code], *shown))
    return seen


def keep_step(request: HttpRequest, form: StepForm) -> None:
    """Write a step down as the form says."""
    set_step(
        organisation=organisation_of(request),
        name=form.step,
        days=form.signed_days(),
        in_use=form.cleaned_data["in_use"],
        subject=form.cleaned_data["subject"],
        words=form.cleaned_data["words"],
        other_words=form.other_words(),
        by=user_of(request),
    )
    notices.success(request, "Saved. It holds from the next reminder on.")


def initial_of(request: HttpRequest, name: str) -> dict[str, object]:
    """A step as it is now, for its form."""
    row = LadderStep.objects.filter(organisation=organisation_of(request), name=name).first()
    others = row.other_words if row else {}
    return {
        **{
            f"{part}_{code}": text for code, words in others.items() for part, text in words.items()
        },
        "in_use": row.in_use if row else True,
        "days": abs(row.days if row else USUAL[name]),
        "subject": row.subject if row else "",
        "words": row.words if row else "",
    }


@member_required
def telling_rules(request: HttpRequest) -> HttpResponse:
    """Change the hours for writing and which way is tried first."""
    organisation = organisation_of(request)
    access.require(request.user, "manage", organisation)
    rules, hours = rules_of(organisation), hours_of(organisation)
    order = rules.order if rules else TellingRules.Order.EMAIL_FIRST
    now = {"day_begins": hours.begin, "day_ends": hours.end, "order": order}
    form = RulesForm(request.POST or None, initial=now)
    if request.method == "POST" and form.is_valid():
        set_telling_rules(organisation=organisation, by=user_of(request), **form.cleaned_data)
        notices.success(request, "Saved.")
        return redirect("scheduler:ladder")
    page = FormPage("Hours for writing", "Save", reverse("scheduler:ladder"), path_here())
    return form_page(request, page, form)


urlpatterns = [
    path("messages/reminders/", ladder, name="ladder"),
    path("messages/reminders/hours/", telling_rules, name="telling_rules"),
    path("messages/reminders/<slug:name>/", ladder_step, name="ladder_step"),
]
