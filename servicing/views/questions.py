"""Measurements that do not fit: what was asked, and what people answered."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse

from customers import access
from customers.access import member_required
from customers.form_pages import Crumb, FormPage, form_page
from customers.middleware import organisation_of, user_of
from servicing.forecasts.questions import answer_question, what_next
from servicing.forms.questions import AnswerForm
from servicing.models import Question

OPEN_SHOWN, SETTLED_SHOWN = 200, 50


@member_required
def questions(request: HttpRequest) -> HttpResponse:
    """Show what waits for an answer, and what was answered lately."""
    rows = Question.objects.visible_to(request.user).filter(organisation=organisation_of(request))
    rows = rows.select_related("system__premises", "answered_by")
    context = {
        "open_questions": rows.open()[:OPEN_SHOWN],
        "answered": rows.exclude(answer="").order_by("-answered_at")[:SETTLED_SHOWN],
    }
    return render(request, "servicing/questions.html", context)


@member_required
def question(request: HttpRequest, public_id: uuid.UUID) -> HttpResponse:
    """Answer one question."""
    rows = Question.objects.visible_to(request.user).select_related("system", "organisation")
    asked = get_object_or_404(rows, public_id=public_id)
    access.require_change(request.user, asked)
    form = AnswerForm(request.POST or None, question=asked)
    if request.method == "POST" and form.is_valid():
        answer_question(question=asked, by=user_of(request), **form.cleaned_data)
        messages.success(request, f"Noted. {what_next(asked)}")
        return redirect("servicing:system", public_id=asked.system.public_id)
    back = reverse("servicing:questions")
    page = FormPage(
        f"A measurement at {asked.system.reference} does not fit",
        "Record the answer",
        back,
        [Crumb("Register", reverse("servicing:systems")), Crumb("Questions", back)],
        lead=asked.text,
    )
    return form_page(request, page, form)


urlpatterns = [
    path("questions/", questions, name="questions"),
    path("questions/<uuid:public_id>/", question, name="question"),
]
