"""Organisations, the people who sign in, and the rules of the country they work in."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any, ClassVar

from django.conf import settings
from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone
from simple_history.models import HistoricalRecords

if TYPE_CHECKING:
    from django.db.models import QuerySet


class CountryProfile(models.Model):
    """A jurisdiction whose rules an organisation follows by default."""

    code = models.SlugField(unique=True)
    name = models.CharField(max_length=80)
    time_zone = models.CharField(max_length=64, default="Europe/London")
    holidays_country = models.CharField(max_length=2, default="GB")
    holidays_subdivision = models.CharField(max_length=8, blank=True)
    emergency_line = models.CharField(max_length=200, blank=True)

    def __str__(self) -> str:
        return self.name


class ProfileRule(models.Model):
    """One rule of a jurisdiction with the days on which it holds and how sure we are of it."""

    class Standing(models.TextChoices):
        LAW = "law", "Law"
        GUIDANCE = "guidance", "Guidance"
        CHECK = "check", "Check with the local authority"

    profile = models.ForeignKey(CountryProfile, on_delete=models.CASCADE, related_name="rules")
    key = models.SlugField()
    system_kind = models.CharField(max_length=20, blank=True)
    value = models.JSONField()
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)
    standing = models.CharField(max_length=10, choices=Standing)
    source = models.TextField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["profile", "key", "system_kind", "valid_from"],
                name="one_profile_rule_from_a_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.profile.code} {self.key} {self.system_kind}".strip()


class Organisation(models.Model):
    """An installer or a tanker operator: the owner of everything it records."""

    class Units(models.TextChoices):
        LITRES = "litres", "Litres"
        IMPERIAL_GALLONS = "imperial_gallons", "Imperial gallons"
        US_GALLONS = "us_gallons", "US gallons"

    class DatesBy(models.TextChoices):
        RISK = "risk", "By the accepted risk"
        COST = "cost", "By what costs least"

    changed_by: ClassVar[str] = "manage"

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=120)
    slug = models.SlugField(unique=True)
    profile = models.ForeignKey(CountryProfile, on_delete=models.PROTECT)
    time_zone = models.CharField(max_length=64, default="Europe/London")
    units = models.CharField(max_length=20, choices=Units, default=Units.LITRES)
    language = models.CharField(max_length=8, default="en-gb")
    phone = models.CharField(max_length=40, blank=True)
    address = models.TextField(blank=True)
    sender_name = models.CharField(max_length=120, blank=True)
    sender_email = models.EmailField(blank=True)
    carrier_registration = models.CharField(max_length=40, blank=True)
    carrier_valid_from = models.DateField(null=True, blank=True)
    carrier_valid_to = models.DateField(null=True, blank=True)
    accepted_risk = models.FloatField(
        default=0.10,
        validators=[MinValueValidator(0.01), MaxValueValidator(0.5)],
        help_text="Share of systems you accept to find over the limit on the day they are due.",
    )
    dates_by = models.CharField(max_length=10, choices=DatesBy, default=DatesBy.RISK)
    emptying_cost_pence = models.PositiveIntegerField(
        null=True, blank=True, help_text="What one emptying costs: tanker, crew and works."
    )
    trouble_cost_pence = models.PositiveIntegerField(
        null=True,
        blank=True,
        help_text="What a year over the limit costs on average: calls, floods, a ruined field.",
    )
    dip_cost_pence = models.PositiveIntegerField(
        null=True, blank=True, help_text="What one measurement costs when a crew is nearby."
    )
    look_cost_pence = models.PositiveIntegerField(
        null=True, blank=True, help_text="What looking into a chamber costs, the drive included."
    )
    horizon_days = models.PositiveSmallIntegerField(
        default=90, help_text="Jobs are made for what falls due within this many days."
    )
    stick_notch_mm = models.PositiveSmallIntegerField(
        default=50,
        validators=[MinValueValidator(5), MaxValueValidator(500)],
        help_text="How far apart the notches of our dip sticks are: common practice, no source.",
    )
    tip_tolerance_percent = models.PositiveSmallIntegerField(
        default=10,
        validators=[MaxValueValidator(50)],
        help_text="How far tipped and collected litres may differ: common practice, no source.",
    )
    interval_override_months = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        help_text="Longest interval we accept against the guidance; law is never overridden here.",
    )
    interval_override_reason = models.CharField(max_length=300, blank=True)
    tanker_operator = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        help_text="Drives our emptyings: new emptying jobs are handed to it.",
    )
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(accepted_risk__gt=0, accepted_risk__lt=1),
                name="accepted_risk_is_a_share",
            ),
            models.CheckConstraint(
                condition=models.Q(interval_override_months__isnull=True)
                | ~models.Q(interval_override_reason=""),
                name="interval_override_needs_a_reason",
            ),
            models.CheckConstraint(
                condition=~models.Q(dates_by="cost")
                | models.Q(
                    emptying_cost_pence__isnull=False,
                    emptying_cost_pence__gt=0,
                    trouble_cost_pence__isnull=False,
                    trouble_cost_pence__gt=0,
                ),
                name="dates_by_cost_need_the_costs",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def language_name(self) -> str:
        """What its owners usually read, named in itself."""
        return dict(settings.LANGUAGES).get(self.language, "English")

    @property
    def year_over_price(self) -> float | None:
        """What a year over the limit costs, in emptyings; None until both costs are known."""
        if not self.emptying_cost_pence or not self.trouble_cost_pence:
            return None
        return self.trouble_cost_pence / self.emptying_cost_pence

    @property
    def year_of_trouble_price(self) -> float | None:
        """What a year of trouble costs, in looks into a chamber; None until both costs are known."""
        if not self.look_cost_pence or not self.trouble_cost_pence:
            return None
        return self.trouble_cost_pence / self.look_cost_pence

    def changing_organisations(self) -> tuple[Organisation, ...]:
        """An organisation is changed by its own members."""
        return (self,)


class UserManager(BaseUserManager["User"]):
    """People sign in with their e-mail address."""

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> User:
        """Add a user with a hashed password (unusable when none is given)."""
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> User:
        """Add a user who may open the admin site."""
        return self.create_user(email, password, is_staff=True, is_superuser=True, **fields)

    def get_by_natural_key(self, username: str | None) -> User:
        """Look a user up by e-mail without regard to case."""
        return self.get(email__iexact=username)


class User(AbstractBaseUser, PermissionsMixin):
    """Somebody who signs in. Owners need no account: they get a link."""

    email = models.EmailField("e-mail", unique=True)
    name = models.CharField(max_length=120)
    is_staff = models.BooleanField(default=False)
    is_active = models.BooleanField(default=True)
    date_joined = models.DateTimeField(default=timezone.now)

    objects = UserManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    def __str__(self) -> str:
        return self.name or self.email

    def get_full_name(self) -> str:
        """Name as written on job sheets."""
        return self.name

    def organisation_ids(self) -> QuerySet[Membership, int]:
        """Ids of the organisations this user is a member of, as a subquery."""
        return Membership.objects.filter(user=self).values_list("organisation_id", flat=True)


class Membership(models.Model):
    """What a user does in an organisation."""

    class Role(models.TextChoices):
        OFFICE = "office", "Office"
        PLANNER = "planner", "Planner"
        CREW = "crew", "Crew"
        READER = "reader", "Reader"

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    organisation = models.ForeignKey(
        Organisation, on_delete=models.CASCADE, related_name="memberships"
    )
    role = models.CharField(max_length=10, choices=Role)

    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["user", "organisation"], name="one_membership_per_user_and_organisation"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user} ({self.get_role_display()}, {self.organisation})"
