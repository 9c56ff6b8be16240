"""The organisation: its settings, its members, and which one to work in."""

from __future__ import annotations

import zoneinfo

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST

from customers import access
from customers.access import member_required
from customers.form_pages import Crumb, FormPage, facts_of, form_page
from customers.forms import OrganisationForm
from customers.middleware import SESSION_KEY, organisation_of, user_of
from customers.models import Membership, Organisation
from customers.organisation_settings import change_organisation
from customers.record_history import changes_of


@member_required
def organisation(request: HttpRequest) -> HttpResponse:
    """Show how the organisation works."""
    shown = organisation_of(request)
    context = {
        "organisation": shown,
        "can_change": access.may_change(request.user, shown),
        "others": Membership.objects.filter(user=user_of(request))
        .exclude(organisation=shown)
        .select_related("organisation")
        .order_by("organisation__name"),
    }
    return render(request, "customers/organisation.html", context)


@member_required
def organisation_edit(request: HttpRequest) -> HttpResponse:
    """Change how the organisation works."""
    shown = organisation_of(request)
    access.require_change(request.user, shown)
    kept = Organisation.objects.select_related("profile").get(pk=shown.pk)
    form = OrganisationForm(request.POST or None, instance=kept)
    if request.method == "POST" and form.is_valid():
        change_organisation(organisation=kept, by=user_of(request), facts=facts_of(form))
        messages.success(request, "Saved.")
        return redirect("customers:organisation")
    back = reverse("customers:organisation")
    page = FormPage("Change the settings", "Save", back, [Crumb("Organisation", back)])
    zones = sorted(zoneinfo.available_timezones())
    template = "customers/organisation_form.html"
    return form_page(request, page, form, template=template, zones=zones)


@member_required
def organisation_history(request: HttpRequest) -> HttpResponse:
    """Show who changed which setting."""
    shown = organisation_of(request)
    changes = changes_of(shown.history.select_related("history_user"))
    crumbs = [Crumb("Organisation", reverse("customers:organisation")), Crumb("History")]
    context = {"title": f"History of {shown}", "changes": changes, "crumbs": crumbs}
    return render(request, "includes/history_page.html", context)


@require_POST
@login_required
def organisation_choose(request: HttpRequest) -> HttpResponse:
    """Work in another of one's organisations from now on."""
    mine = Organisation.objects.filter(memberships__user=user_of(request))
    chosen = get_object_or_404(mine, slug=request.POST.get("organisation", ""))
    request.session[SESSION_KEY] = str(chosen.public_id)
    messages.success(request, f"You now work in {chosen}.")
    return redirect("customers:organisation")


urlpatterns = [
    path("organisation/", organisation, name="organisation"),
    path("organisation/change/", organisation_edit, name="organisation_edit"),
    path("organisation/history/", organisation_history, name="organisation_history"),
    path("organisation/choose/", organisation_choose, name="organisation_choose"),
]
