"""Tanker days: how they were planned and how they went."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models
from simple_history.models import HistoricalRecords

from customers.models import OwnedModel, OwnedQuerySet

from .fleet import Crew, Tanker, Works
from .jobs import Job


class PlanRun(OwnedModel):
    """One run of the planner in the background, and what came out."""

    class State(models.TextChoices):
        WAITING = "waiting", "Waiting to start"
        WORKING = "working", "Working"
        READY = "ready", "Ready to look at"
        STOPPED = "stopped", "Stopped by hand"
        FAILED = "failed", "Failed"

    changed_by = "plan"

    first_day = models.DateField()
    days = models.PositiveSmallIntegerField(default=1)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    settings = models.JSONField(default=dict)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    progress = models.FloatField(default=0)
    stop_asked = models.BooleanField(default=False)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    left_out = models.JSONField(default=list, help_text="Job id and the reason in words.")
    warnings = models.JSONField(default=list)
    figures = models.JSONField(default=dict, help_text="Metres, hours, tips, litres, pence.")
    problem = models.JSONField(default=dict, help_text="What the planner was given, for the record")
    changes = models.JSONField(
        default=list, help_text="What the rest of a day planned anew changes, job by job."
    )
    error = models.TextField(blank=True)

    objects = OwnedQuerySet["PlanRun"].as_manager()

    class Meta:
        ordering: ClassVar = ["-created_at"]

    def __str__(self) -> str:
        return f"Plan for {self.first_day} ({self.get_state_display().lower()})"


class Round(OwnedModel):
    """One tanker's day. Until it is accepted it is a proposal and nobody has been told."""

    changed_by = "plan"

    run = models.ForeignKey(
        PlanRun, null=True, blank=True, on_delete=models.SET_NULL, related_name="rounds"
    )
    tanker = models.ForeignKey(Tanker, on_delete=models.PROTECT, related_name="rounds")
    crew = models.ForeignKey(
        Crew, null=True, blank=True, on_delete=models.SET_NULL, related_name="rounds"
    )
    day = models.DateField()
    starts_at = models.DateTimeField(null=True, blank=True)
    ends_at = models.DateTimeField(null=True, blank=True)
    metres = models.PositiveIntegerField(default=0)
    cost_pence = models.PositiveIntegerField(default=0)
    breaches = models.JSONField(default=list, help_text="What the checker found; empty when sound.")
    loads = models.JSONField(
        default=list, help_text="Each load: jobs, litres, capacity, chance that it does not fit."
    )
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    objects = OwnedQuerySet["Round"].as_manager()
    history = HistoricalRecords()

    class Meta:
        ordering: ClassVar = ["day", "tanker__name"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["tanker", "day"],
                condition=models.Q(accepted_at__isnull=False),
                name="one_accepted_round_per_tanker_and_day",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["organisation", "day"])]

    def __str__(self) -> str:
        return f"{self.tanker} on {self.day}"


class Stop(models.Model):
    """One line of a round, in driving order."""

    class Kind(models.TextChoices):
        BASE = "base", "Base"
        JOB = "job", "Job"
        TIP = "tip", "Tip"
        BREAK = "break", "Break"

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="stops")
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=6, choices=Kind)
    job = models.ForeignKey(
        Job, null=True, blank=True, on_delete=models.CASCADE, related_name="stops"
    )
    part = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Which visit, of a job too large for one tanker."
    )
    works = models.ForeignKey(Works, null=True, blank=True, on_delete=models.PROTECT)
    arrive_at = models.DateTimeField()
    start_at = models.DateTimeField()
    depart_at = models.DateTimeField()
    metres = models.PositiveIntegerField(default=0, help_text="Driven from the stop before.")
    load_after_litres = models.PositiveIntegerField(default=0)
    locked = models.BooleanField(default=False, help_text="Stays on this tanker and day.")
    arrived_at = models.DateTimeField(null=True, blank=True, help_text="As driven.")
    left_at = models.DateTimeField(null=True, blank=True, help_text="As driven.")
    taken_litres = models.PositiveIntegerField(
        null=True, blank=True, help_text="Of a job done in several visits: taken on this one."
    )
    part_note = models.CharField(max_length=300, blank=True)
    tipped_litres = models.PositiveIntegerField(null=True, blank=True)
    tip_ticket = models.CharField(max_length=60, blank=True)

    class Meta:
        ordering: ClassVar = ["position"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["round", "position"], name="stop_positions_differ"),
            models.CheckConstraint(
                condition=(models.Q(kind="job") & models.Q(job__isnull=False))
                | (~models.Q(kind="job") & models.Q(job__isnull=True)),
                name="job_stops_have_a_job",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.position}. {self.get_kind_display()}"

    @property
    def works_hours(self) -> str:
        """When the works is open on the day of the round."""
        return self.works.hours_words(self.round.day) if self.works else ""


class TravelPair(models.Model):
    """Stored road distance and time between two points, with where it came from."""

    from_latitude = models.FloatField()
    from_longitude = models.FloatField()
    to_latitude = models.FloatField()
    to_longitude = models.FloatField()
    metres = models.PositiveIntegerField()
    seconds = models.PositiveIntegerField()
    source = models.CharField(max_length=40)
    found_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=[
                    "from_latitude",
                    "from_longitude",
                    "to_latitude",
                    "to_longitude",
                    "source",
                ],
                name="one_travel_pair_per_source",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.metres} m, {self.seconds} s by {self.source}"
