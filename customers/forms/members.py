"""Adding a member and giving one another part."""

from __future__ import annotations

from django import forms

from customers.models import Membership


class MemberForm(forms.Form):
    """Somebody who shall sign in here."""

    name = forms.CharField(max_length=120)
    email = forms.EmailField(label="E-mail")
    role = forms.ChoiceField(label="Part", choices=Membership.Role.choices, initial="crew")


class RoleForm(forms.Form):
    """The part of somebody who is a member already."""

    role = forms.ChoiceField(label="Part", choices=Membership.Role.choices)
