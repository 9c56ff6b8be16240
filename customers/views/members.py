"""The members of an organisation: who signs in and what they may do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.contrib.auth.forms import PasswordResetForm
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST

from customers import access, membership
from customers.access import member_required
from customers.form_pages import Crumb, FormPage, form_page
from customers.forms.members import MemberForm, RoleForm
from customers.middleware import organisation_of, user_of
from customers.models import Membership

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse


@member_required
def members(request: HttpRequest) -> HttpResponse:
    """Show who works here and what they may do."""
    rows = Membership.objects.filter(organisation=organisation_of(request))
    context = {"members": rows.select_related("user").order_by("role", "user__name")}
    return render(request, "customers/members.html", context)


@member_required
def member_add(request: HttpRequest) -> HttpResponse:
    """Let somebody sign in; a new person gets a mail with a link to set a password."""
    organisation = organisation_of(request)
    access.require(request.user, "manage", organisation)
    form = MemberForm(request.POST or None)
    if form.is_valid():
        try:
            added, new = membership.add_member(
                organisation=organisation, by=user_of(request), **form.cleaned_data
            )
        except membership.NotAllowed as fault:
            form.add_error("email", str(fault))
        else:
            if new:
                send_password_link(request, added.user.email)
            messages.success(request, f"{added.user} may sign in now.")
            return redirect("customers:members")
    page = FormPage("Add a member", "Add", reverse("customers:members"), [_here()])
    return form_page(request, page, form)


def send_password_link(request: HttpRequest, email: str) -> None:
    """Mail the link by which a password is set."""
    form = PasswordResetForm({"email": email})
    if form.is_valid():
        form.save(
            request=request,
            use_https=request.is_secure(),
            email_template_name="registration/password_reset_email.html",
            subject_template_name="registration/password_reset_subject.txt",
        )


def _here() -> Crumb:
    return Crumb("Members", reverse("customers:members"))


def _member(request: HttpRequest, member_id: int) -> Membership:
    organisation = organisation_of(request)
    mine = Membership.objects.filter(organisation=organisation).select_related("user")
    member = get_object_or_404(mine, pk=member_id)
    access.require(request.user, "manage", organisation)
    return member


@member_required
def member_edit(request: HttpRequest, member_id: int) -> HttpResponse:
    """Give a member another part."""
    member = _member(request, member_id)
    form = RoleForm(request.POST or None, initial={"role": member.role})
    if form.is_valid():
        role = form.cleaned_data["role"]
        try:
            membership.change_role(membership=member, role=role, by=user_of(request))
        except membership.NotAllowed as fault:
            form.add_error("role", str(fault))
        else:
            messages.success(request, f"{member.user} is {member.get_role_display()} now.")
            return redirect("customers:members")
    page = FormPage(str(member.user), "Save", reverse("customers:members"), [_here()])
    return form_page(request, page, form, template="customers/member_edit.html", member=member)


@member_required
@require_POST
def member_remove(request: HttpRequest, member_id: int) -> HttpResponse:
    """End a membership."""
    member = _member(request, member_id)
    try:
        membership.remove_member(membership=member, by=user_of(request))
    except membership.NotAllowed as fault:
        messages.error(request, str(fault))
        return redirect("customers:member_edit", member_id)
    messages.success(request, f"{member.user} may no longer sign in here.")
    return redirect("customers:members")


urlpatterns = [
    path("organisation/members/", members, name="members"),
    path("organisation/members/add/", member_add, name="member_add"),
    path("organisation/members/<int:member_id>/", member_edit, name="member_edit"),
    path("organisation/members/<int:member_id>/remove/", member_remove, name="member_remove"),
]
