"""What befell today's rounds."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Fieldset, Layout, Row
from django import forms
from django.utils.formats import date_format

from scheduler.models import Job, Tanker, Works

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from customers.models import Organisation

MOST_OFFERED = 15


class JobChoice(forms.ModelMultipleChoiceField[Job]):
    """Jobs by place, with when they are expected where that is known."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(
            Job.objects.none(),
            *args,
            to_field_name="public_id",
            required=False,
            widget=forms.CheckboxSelectMultiple,
            **kwargs,
        )

    def label_from_instance(self, obj: Any) -> str:
        """Place, reference, work and when it is due."""
        urgent = ", urgent" if obj.urgent else ""
        place = f"{obj.system.premises} ({obj.system.reference})"
        due = date_format(obj.due_on, "j M Y")
        return f"{place}, {obj.get_kind_display().lower()}{urgent}, due {due}"


class HappeningForm(forms.Form):
    """Tankers off the road, works shut, jobs that fall through, jobs that come in."""

    off_the_road = forms.ModelMultipleChoiceField(
        Tanker.objects.none(),
        to_field_name="public_id",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="Tankers that drive no further today",
    )
    shut_works = forms.ModelMultipleChoiceField(
        Works.objects.none(),
        to_field_name="public_id",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="Works that take no more loads today",
    )
    given_up = JobChoice(label="Jobs not to be done today after all")
    urgent = JobChoice(label="Jobs to fit in today")
    because = forms.CharField(
        label="What happened?",
        max_length=200,
        help_text="Owners whose visit is cancelled read this.",
    )

    def __init__(
        self,
        *args: Any,
        organisation: Organisation,
        ahead: Sequence[Job],
        today: dt.date,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        in_use = {"organisation": organisation, "in_use": True}
        self._offer("off_the_road", Tanker.objects.filter(**in_use).order_by("name"))
        self._offer("shut_works", Works.objects.filter(**in_use).order_by("name"))
        jobs = Job.objects.select_related("system__premises")
        self._offer("given_up", jobs.filter(pk__in=[job.pk for job in ahead]))
        self._offer(
            "urgent", jobs.filter(pk__in=_waiting(organisation, today)).order_by("due_on", "pk")
        )
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.layout = Layout(
            Fieldset("What happened", Row(*self._there("off_the_road", "shut_works")), "because"),
            Fieldset("Jobs", Row(*self._there("given_up", "urgent"))),
        )

    def _offer(self, name: str, rows: Any) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ModelMultipleChoiceField)
        field.queryset = rows
        if not rows.exists():
            del self.fields[name]

    def _there(self, *names: str) -> list[str]:
        return [name for name in names if name in self.fields]

    def chosen(self, name: str) -> list[Any]:
        """What was ticked; nothing where there was nothing to tick."""
        return list(self.cleaned_data.get(name) or ())

    def clean(self) -> dict[str, Any]:
        """Something must have happened."""
        given = super().clean() or {}
        names = ("off_the_road", "shut_works", "given_up", "urgent")
        if not any(given.get(name) for name in names):
            raise forms.ValidationError("Tick what happened: a tanker, a works or a job.")
        return given


def _waiting(organisation: Organisation, today: dt.date) -> list[int]:
    """Jobs that could be fitted in: urgent ones and call-outs first, then the longest due."""
    jobs = Job.objects.for_operator(organisation).filter(state=Job.State.WANTED)
    soon = jobs.filter(due_on__lte=today).order_by("-urgent", "due_on", "pk")
    pressing = jobs.filter(kind=Job.Kind.CALL_OUT).values_list("pk", flat=True)
    return [*pressing, *soon.values_list("pk", flat=True)[:MOST_OFFERED]]
