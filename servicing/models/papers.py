"""Papers as they were issued, and letters printed together."""

from __future__ import annotations

import hashlib
import secrets
from typing import TYPE_CHECKING, Any, ClassVar, NoReturn, Self

from django.conf import settings
from django.db import models

from customers.models import Agreement, OwnedModel, OwnedQuerySet, Person, Premises

from .systems import System
from .visits import Visit

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser

    from customers.models import User


class PaperIsFinal(TypeError):
    """Somebody tried to change or take away a paper that has been issued."""

    def __init__(self) -> None:
        super().__init__("An issued paper stays as it is: issue a new one that names it.")


class PaperQuerySet(OwnedQuerySet["Paper"]):
    """Questions about papers."""

    def visible_to(self, user: User | AnonymousUser) -> Self:
        """Issued by the user's organisations, or about places in their register."""
        if not user.is_authenticated:
            return self.none()
        mine = user.organisation_ids()
        return self.filter(
            models.Q(organisation__in=mine) | models.Q(premises__organisation__in=mine)
        )

    def standing(self) -> Self:
        """Not replaced by a later paper."""
        return self.filter(replaced_by__isnull=True)

    def listed(self) -> Self:
        """Without the file and the facts, with what a list shows."""
        return self.defer("content", "facts").select_related(
            "organisation", "system", "premises", "replaced_by", "replaces", "issued_by"
        )

    def for_owner(self, person: Person) -> Self:
        """Those an owner may have: about the place only, or naming this very person.

        A crew's paper is for the crew.
        """
        mine = models.Q(person__isnull=True) | models.Q(person=person)
        return self.filter(mine).exclude(kind__in=Paper.OF_THE_CREW)

    def update(self, **kwargs: Any) -> NoReturn:
        """Refuse: raises PaperIsFinal."""
        raise PaperIsFinal

    def delete(self) -> NoReturn:
        """Refuse: raises PaperIsFinal."""
        raise PaperIsFinal


def new_token() -> str:
    """128 bits nobody can guess, for the address at which a paper is checked."""
    return secrets.token_urlsafe(16)


class Paper(OwnedModel):
    """A paper as it was given out: its file, the facts it was made from, its number."""

    class Kind(models.TextChoices):
        SERVICE_RECORD = "service_record", "Service record"
        TRANSFER_NOTE = "transfer_note", "Waste transfer note"
        SEASON_TICKET = "season_ticket", "Season ticket"
        HANDOVER_PACK = "handover_pack", "Handover pack"
        AGREEMENT = "agreement", "Aftercare agreement"
        RENEWAL_NOTICE = "renewal_notice", "Renewal notice"
        JOB_SHEET = "job_sheet", "Job sheet"
        RUN_SHEET = "run_sheet", "Run sheet"

    OF_VISITS: ClassVar = (Kind.SERVICE_RECORD, Kind.TRANSFER_NOTE)
    OF_THE_CREW: ClassVar = (Kind.JOB_SHEET, Kind.RUN_SHEET)

    changed_by = "visit"

    kind = models.CharField(max_length=20, choices=Kind)
    year = models.PositiveSmallIntegerField()
    sequence = models.PositiveIntegerField()
    issued_on = models.DateField()
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    premises = models.ForeignKey(
        Premises,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="papers",
        help_text="Empty for a run sheet, which is about many.",
    )
    system = models.ForeignKey(
        System, null=True, blank=True, on_delete=models.PROTECT, related_name="papers"
    )
    visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="papers"
    )
    agreement = models.ForeignKey(
        Agreement, null=True, blank=True, on_delete=models.PROTECT, related_name="papers"
    )
    person = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="papers",
        help_text="Who is named on it; empty where it is about the place alone.",
    )
    about = models.UUIDField(
        null=True, blank=True, help_text="The job or the round of a crew's paper."
    )
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )
    because = models.CharField(max_length=300, blank=True, help_text="Why it replaces another.")
    token = models.CharField(max_length=32, unique=True, default=new_token, editable=False)
    asked = models.JSONField(default=dict, help_text="What was chosen when it was issued.")
    facts = models.JSONField(help_text="What it says, without its pictures.")
    content = models.BinaryField()
    sha256 = models.CharField(max_length=64)

    objects = PaperQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-issued_on", "-id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "year", "sequence"], name="paper_numbers_differ"
            ),
            models.UniqueConstraint(
                fields=["kind", "visit"],
                condition=models.Q(visit__isnull=False, replaces__isnull=True),
                name="one_first_paper_of_a_kind_per_visit",
            ),
            models.UniqueConstraint(
                fields=["kind", "agreement"],
                condition=models.Q(agreement__isnull=False, replaces__isnull=True),
                name="one_first_paper_of_a_kind_per_agreement",
            ),
            models.UniqueConstraint(
                fields=["kind", "about"],
                condition=models.Q(about__isnull=False, replaces__isnull=True),
                name="one_first_paper_of_a_kind_per_errand",
            ),
            models.CheckConstraint(
                condition=models.Q(premises__isnull=False)
                | models.Q(kind="run_sheet", about__isnull=False),
                name="a_paper_is_about_a_place_or_a_round",
            ),
            models.CheckConstraint(
                condition=models.Q(replaces__isnull=True) | ~models.Q(because=""),
                name="a_replacing_paper_says_why",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["premises", "issued_on"]),
            models.Index(fields=["organisation", "issued_on"]),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.number}"

    @property
    def number(self) -> str:
        """Year and number within it, as printed: 2026-00042."""
        return paper_number(self.year, self.sequence)

    @property
    def is_untouched(self) -> bool:
        """Whether the file is still the one that was issued."""
        return hashlib.sha256(bytes(self.content)).hexdigest() == self.sha256

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Keep it once; raises PaperIsFinal for a paper that is kept already."""
        if not self._state.adding:
            raise PaperIsFinal
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Refuse: raises PaperIsFinal."""
        raise PaperIsFinal


def paper_number(year: int, sequence: int) -> str:
    """Number as it is printed."""
    return f"{year}-{sequence:05d}"


class LetterBatch(OwnedModel):
    """Letters of one organisation laid out in one file, to be printed and posted together."""

    class State(models.TextChoices):
        WAITING = "waiting", "Waiting to start"
        WORKING = "working", "Being laid out"
        READY = "ready", "Ready to print"
        POSTED = "posted", "Posted"
        FAILED = "failed", "Could not be laid out"
        DROPPED = "dropped", "Thrown away"

    # Their letters are in no other batch.
    HOLDING: ClassVar = (State.WAITING, State.WORKING, State.READY)

    changed_by = "tell"

    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    letters = models.JSONField(default=list, help_text="Public ids of the messages, in order.")
    done = models.PositiveIntegerField(default=0)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    written_on = models.DateField()
    content = models.BinaryField(null=True, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    error = models.CharField(max_length=300, blank=True)
    posted_at = models.DateTimeField(null=True, blank=True)

    objects = OwnedQuerySet["LetterBatch"].as_manager()

    class Meta:
        verbose_name_plural = "letter batches"
        ordering: ClassVar = ["-created_at", "-id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~models.Q(state__in=["ready", "posted"])
                | models.Q(content__isnull=False),
                name="a_finished_batch_has_its_file",
            ),
        ]

    def __str__(self) -> str:
        return f"{len(self.letters)} letters of {self.written_on}"
