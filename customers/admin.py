"""What the site's keeper sets up: organisations, members and the rules of countries."""

from __future__ import annotations

from typing import ClassVar

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin

from customers.models import CountryProfile, Membership, Organisation, ProfileRule, User


class MembershipInline(admin.TabularInline[Membership, Organisation]):
    """Members of an organisation."""

    model = Membership
    extra = 1
    autocomplete_fields = ("user",)


@admin.register(Organisation)
class OrganisationAdmin(admin.ModelAdmin[Organisation]):
    """Organisations with their members."""

    list_display = ("name", "profile", "time_zone", "carrier_valid_to")
    search_fields = ("name", "slug")
    prepopulated_fields: ClassVar = {"slug": ("name",)}
    inlines = (MembershipInline,)


@admin.register(User)
class MemberAdmin(UserAdmin[User]):
    """People who sign in, by their e-mail address."""

    ordering = ("email",)
    list_display = ("email", "name", "is_active", "is_staff")
    search_fields = ("email", "name")
    fieldsets = (
        (None, {"fields": ("email", "password", "name")}),
        ("Leave to sign in", {"fields": ("is_active", "is_staff", "is_superuser")}),
    )
    add_fieldsets = (
        (None, {"classes": ("wide",), "fields": ("email", "name", "password1", "password2")}),
    )


class RuleInline(admin.TabularInline[ProfileRule, CountryProfile]):
    """Rules of a jurisdiction: end one and add the next, so that the past keeps its rule."""

    model = ProfileRule
    extra = 0


@admin.register(CountryProfile)
class CountryProfileAdmin(admin.ModelAdmin[CountryProfile]):
    """Jurisdictions and their rules."""

    list_display = ("name", "code", "time_zone")
    prepopulated_fields: ClassVar = {"code": ("name",)}
    inlines = (RuleInline,)
