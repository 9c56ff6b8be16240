"""Measurements that contradict what was expected, and what people say of them."""

from __future__ import annotations

from typing import ClassVar, Self

from django.conf import settings
from django.db import models

from customers.models import OwnedModel, OwnedQuerySet

from .systems import System


class QuestionQuerySet(OwnedQuerySet["Question"]):
    """Questions about questions."""

    def open(self) -> Self:
        """Neither answered nor fallen away because the record was put right."""
        return self.filter(answer="", fell_away_on__isnull=True)

    def to_measure_again(self) -> Self:
        """Answered "measure again", and no later measurement has come in."""
        return self.filter(answer=Question.Answer.MEASURE_AGAIN, fell_away_on__isnull=True)


class Question(OwnedModel):
    """One measurement that does not fit: asked about, never believed or dropped in silence."""

    changed_by = "visit"

    class Answer(models.TextChoices):
        MEASURE_AGAIN = "measure_again", "Measure again"
        MORE_PEOPLE = "more_people", "More people live there than we know"
        FEWER_PEOPLE = "fewer_people", "Fewer people live there, or it stood empty"
        NOT_EMPTIED = "not_emptied", "It was not emptied when we think"
        EMPTIED = "emptied", "It was emptied and nobody told us"
        OUTLET = "outlet", "The outlet is blocked or the level stands too high"
        LEAK = "leak", "The tank leaks or solids are washing out to the drainage field"
        STANDS = "stands", "The measurement is right and nothing else has changed"

    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="questions")
    code = models.CharField(max_length=40)
    about_on = models.DateField(help_text="Day of the measurement.")
    text = models.CharField(max_length=300)
    choices = models.JSONField(
        default=list, help_text="Answers that make sense, most likely first."
    )
    answer = models.CharField(max_length=20, choices=Answer, blank=True)
    note = models.CharField(max_length=300, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    fell_away_on = models.DateField(
        null=True, blank=True, help_text="Day on which the record no longer gave rise to it."
    )

    objects = QuestionQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-about_on", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["system", "code", "about_on"], name="a_measurement_is_asked_about_once"
            ),
            models.CheckConstraint(
                condition=models.Q(answer="") | models.Q(answered_at__isnull=False),
                name="an_answer_says_when",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["organisation", "answer", "about_on"])]

    def __str__(self) -> str:
        return f"{self.system.reference}: {self.text}"

    @property
    def is_open(self) -> bool:
        """Whether an answer is still wanted."""
        return not self.answer and self.fell_away_on is None
