"""The tanker operator that drives for us: chosen by its own code; many jobs handed at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_POST

from customers import access
from customers.access import member_required
from customers.middleware import organisation_of, user_of
from customers.models import Organisation
from scheduler.forms.operator import OperatorForm
from scheduler.models import Job
from scheduler.operator_sharing import choose_operator, hand_over_many
from scheduler.round_upkeep import tidy_rounds
from scheduler.views.plan_new import is_id

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse


@member_required
def operator(request: HttpRequest) -> HttpResponse:
    """Choose the operator by its code: first its name is shown, then it is confirmed."""
    own = _organisation(request)
    access.require(request.user, "manage", own)
    form = OperatorForm(request.POST or None, organisation=own)
    if request.method == "POST" and "stop" in request.POST:
        choose_operator(organisation=own, operator=None, by=user_of(request))
        messages.success(request, "You drive your emptyings yourselves from now on.")
        return redirect("scheduler:operator")
    found = form.operator if form.is_bound and form.is_valid() else None
    if found is not None and "confirm" in request.POST:
        choose_operator(organisation=own, operator=found, by=user_of(request))
        messages.success(request, f"{found} drives your new emptyings from now on.")
        return redirect("scheduler:operator")
    open_jobs = Job.objects.open().filter(organisation=own, handed_to__isnull=False)
    context = {"own": own, "form": form, "found": found, "with_others": open_jobs.count()}
    status = 422 if form.is_bound and not form.is_valid() else 200
    return render(request, "scheduler/operator.html", context, status=status)


def _organisation(request: HttpRequest) -> Organisation:
    rows = Organisation.objects.select_related("tanker_operator")
    return rows.get(pk=organisation_of(request).pk)


@member_required
@require_POST
def hand_over(request: HttpRequest) -> HttpResponse:
    """Hand the ticked jobs to our operator, or take them back."""
    own = _organisation(request)
    access.require(request.user, "plan", own)
    back = "back" in request.POST
    if not back and own.tanker_operator is None:
        messages.error(request, "You have no tanker operator: choose one first.")
        return redirect("scheduler:due")
    ids = [text for text in request.POST.getlist("jobs") if is_id(text)]
    jobs = Job.objects.filter(organisation=own, public_id__in=ids).select_related("system")
    handed = hand_over_many(
        jobs=jobs, operator=None if back else own.tanker_operator, by=user_of(request)
    )
    tidy_rounds()
    who = "taken back" if back else f"handed to {own.tanker_operator}"
    messages.success(request, f"{handed.jobs} job{'' if handed.jobs == 1 else 's'} {who}.")
    for refused in handed.refused:
        messages.warning(request, refused)
    return redirect("scheduler:due")


urlpatterns = [
    path("rounds/operator/", operator, name="operator"),
    path("due/drivers/", hand_over, name="due_hand_over"),
]
