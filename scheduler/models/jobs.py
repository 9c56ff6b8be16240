"""Work to be done, and the promises made about when."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Self

from django.core.validators import MinValueValidator
from django.db import models
from simple_history.models import HistoricalRecords

from customers.models import Organisation, OwnedModel, OwnedQuerySet, Person
from servicing.models import System, Visit

if TYPE_CHECKING:
    import datetime as dt

    from django.contrib.auth.models import AnonymousUser

    from customers.models import User


class JobQuerySet(OwnedQuerySet["Job"]):
    """Questions about jobs."""

    def visible_to(self, user: User | AnonymousUser) -> Self:
        """Own jobs, and jobs that an installer handed to the user's organisation."""
        if not user.is_authenticated:
            return self.none()
        mine = user.organisation_ids()
        return self.filter(models.Q(organisation__in=mine) | models.Q(handed_to__in=mine))

    def open(self) -> Self:
        """Still to be done: wanted, offered, agreed or under way."""
        return self.filter(state__in=Job.OPEN)

    def concerning(self, organisation: Organisation) -> Self:
        """At this organisation's systems, whoever drives, and those handed to it."""
        return self.filter(models.Q(organisation=organisation) | models.Q(handed_to=organisation))

    def for_operator(self, organisation: Organisation) -> Self:
        """Jobs this organisation drives: its own not handed away, and those handed to it."""
        return self.filter(
            models.Q(organisation=organisation, handed_to__isnull=True)
            | models.Q(handed_to=organisation)
        )


class Job(OwnedModel):
    """One piece of work at one system."""

    class Kind(models.TextChoices):
        EMPTYING = "emptying", "Emptying"
        SERVICE = "service", "Service visit"
        INSPECTION = "inspection", "Chamber inspection"
        CALL_OUT = "call_out", "Call-out"

    class State(models.TextChoices):
        WANTED = "wanted", "Wanted"
        OFFERED = "offered", "Offered"
        AGREED = "agreed", "Agreed"
        UNDER_WAY = "under_way", "Under way"
        DONE = "done", "Done"
        ABANDONED = "abandoned", "Abandoned"
        WITHDRAWN = "withdrawn", "Withdrawn"

    OPEN: ClassVar = (State.WANTED, State.OFFERED, State.AGREED, State.UNDER_WAY)

    changed_by = "plan"

    system = models.ForeignKey(System, on_delete=models.PROTECT, related_name="jobs")
    handed_to = models.ForeignKey(
        "customers.Organisation",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="jobs_received",
    )
    kind = models.CharField(max_length=12, choices=Kind)
    state = models.CharField(max_length=12, choices=State, default=State.WANTED)
    urgent = models.BooleanField(default=False)
    why = models.CharField(max_length=300, blank=True)
    earliest = models.DateField(null=True, blank=True)
    due_on = models.DateField()
    latest = models.DateField(null=True, blank=True)
    required = models.BooleanField(default=False, help_text="A ceiling, a promise or a high risk.")
    litres = models.PositiveIntegerField(default=0, help_text="Expected to be taken out.")
    litres_high = models.PositiveIntegerField(default=0, help_text="Nine times in ten not more.")
    minutes = models.PositiveSmallIntegerField(default=45, validators=[MinValueValidator(1)])
    value_pence = models.PositiveIntegerField(default=0)
    notes = models.TextField(blank=True)
    closed_because = models.CharField(max_length=300, blank=True)
    visit = models.OneToOneField(
        Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="job"
    )
    follows = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.SET_NULL, related_name="followed_by"
    )
    under_agreement = models.ForeignKey(
        "customers.Agreement",
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="jobs",
        help_text="The agreement that promises this visit, where it is what made the job.",
    )

    objects = JobQuerySet.as_manager()
    history = HistoricalRecords()

    class Meta:
        ordering: ClassVar = ["due_on", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["system", "kind"],
                condition=models.Q(state__in=["wanted", "offered", "agreed", "under_way"]),
                name="one_open_job_of_a_kind_per_system",
            ),
            models.CheckConstraint(
                condition=models.Q(earliest__isnull=True)
                | models.Q(latest__isnull=True)
                | models.Q(latest__gte=models.F("earliest")),
                name="job_latest_is_after_earliest",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["organisation", "state", "due_on"]),
            models.Index(fields=["handed_to", "state", "due_on"]),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.system.reference}, due {self.due_on}"

    @property
    def is_open(self) -> bool:
        """Whether it is still to be done."""
        return self.state in self.OPEN

    @property
    def driven_by(self) -> Organisation:
        """The organisation whose crew does it."""
        return self.handed_to or self.organisation

    def changing_organisations(self) -> tuple[Organisation, ...]:
        """The owner of the system and, when handed over, the operator."""
        return (self.organisation, self.handed_to) if self.handed_to else (self.organisation,)


class AppointmentQuerySet(models.QuerySet["Appointment"]):
    """Questions about appointments."""

    def standing(self) -> Self:
        """Neither cancelled nor kept: somebody still expects us."""
        return self.filter(cancelled_at__isnull=True, job__state__in=Job.OPEN)

    def on_day(self, starts: dt.datetime, ends: dt.datetime) -> Self:
        """Starting within the half-open span of aware times."""
        return self.filter(starts_at__gte=starts, starts_at__lt=ends)


class Appointment(models.Model):
    """When we said we would come: the span told to the owner."""

    class AgreedBy(models.TextChoices):
        OFFICE = "office", "Office"
        LINK = "link", "Owner's page"
        MAIL = "mail", "Reply by mail"
        PHONE = "phone", "Telephone"

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="appointments")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    agreed_at = models.DateTimeField(null=True, blank=True)
    agreed_by = models.CharField(max_length=10, choices=AgreedBy, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    cancelled_because = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = AppointmentQuerySet.as_manager()
    history = HistoricalRecords()

    class Meta:
        ordering: ClassVar = ["starts_at"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["job"],
                condition=models.Q(cancelled_at__isnull=True),
                name="one_standing_appointment_per_job",
            ),
            models.CheckConstraint(
                condition=models.Q(ends_at__gt=models.F("starts_at")),
                name="appointment_ends_after_it_starts",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["starts_at"])]

    def __str__(self) -> str:
        return f"{self.job} at {self.starts_at:%Y-%m-%d %H:%M}"


class TroubleReport(models.Model):
    """What an owner told us is wrong, what we advised, and the job that came of it."""

    class Priority(models.IntegerChoices):
        SAME_DAY = 1, "Same day"
        SOON = 2, "Within three days"
        ROUTINE = 3, "When next nearby"
        NONE = 4, "No visit needed"

    public_id = models.UUIDField(unique=True)
    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="trouble_reports")
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL)
    reported_at = models.DateTimeField()
    symptom = models.CharField(max_length=40)
    words = models.TextField(blank=True)
    advice = models.TextField()
    priority = models.PositiveSmallIntegerField(choices=Priority)
    job = models.ForeignKey(
        Job, null=True, blank=True, on_delete=models.SET_NULL, related_name="trouble_reports"
    )
    seen_by_office_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-reported_at"]

    def __str__(self) -> str:
        return f"{self.system.reference}: {self.symptom}"


class DayRequest(models.Model):
    """An owner asks for another day than the one offered."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="day_requests")
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL)
    asked_at = models.DateTimeField()
    days = models.JSONField(default=list, help_text="ISO dates that would suit, best first.")
    words = models.CharField(max_length=500, blank=True)
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-asked_at"]

    def __str__(self) -> str:
        return f"Another day for {self.job}"
