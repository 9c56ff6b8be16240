"""Forms of the planner: plan days, move a job, choose a crew, call a round off."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Fieldset, Layout, Row
from django import forms
from django.utils.formats import date_format

from scheduler.forms.jobs import DateInput
from scheduler.models import Crew, Job, Tanker, Works
from scheduler.round_plans import TANKER_WORK, PlanSettings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.db.models import QuerySet

    from customers.models import Organisation
    from scheduler.models import Round, Stop

MOST_DAYS = 20
SEARCH_SECONDS = ((3, "3 seconds"), (10, "10 seconds"), (30, "30 seconds"), (120, "2 minutes"))
EITHER_SIDE = ((30, "30 minutes"), (60, "1 hour"), (90, "1½ hours"), (120, "2 hours"))
LITRES = (
    ("", "What is expected"),
    ("0.8", "What eight jobs in ten do not exceed"),
    ("0.95", "What nineteen in twenty do not exceed"),
)
BEST_PLACE = "best"
# Places offered in the list; a round of more jobs than this is not driven in a day.
MOST_JOBS_A_ROUND = 20


class TankerChoice(forms.ModelMultipleChoiceField[Tanker]):
    """Tankers with what matters for choosing them."""

    def label_from_instance(self, obj: Any) -> str:
        """Name, base and driver."""
        return f"{obj.name}, from {obj.base}, {obj.crew or 'no crew yet'}"


class PlanForm(forms.Form):
    """Which days, which tankers and which jobs, and how long to search."""

    first_day = forms.DateField(label="First day", widget=DateInput())
    days = forms.IntegerField(label="Days", min_value=1, max_value=MOST_DAYS, initial=1)
    look_ahead_days = forms.IntegerField(
        label="Take early what is due within, days",
        min_value=0,
        max_value=180,
        initial=28,
        help_text="Due later than the days planned; taken only where it saves a drive.",
    )
    kinds = forms.MultipleChoiceField(
        label="Work", choices=Job.Kind.choices, widget=forms.CheckboxSelectMultiple
    )
    tankers = TankerChoice(
        Tanker.objects.none(), to_field_name="public_id", widget=forms.CheckboxSelectMultiple
    )
    works = forms.ModelMultipleChoiceField(
        Works.objects.none(),
        to_field_name="public_id",
        widget=forms.CheckboxSelectMultiple,
        label="Works to tip at",
    )
    litres_quantile = forms.TypedChoiceField(
        label="Litres to plan with",
        choices=LITRES,
        coerce=float,
        empty_value=None,
        required=False,
        widget=forms.RadioSelect,
        help_text="The more room is kept, the less often a tanker is full before its last job.",
    )
    ground_saturated = forms.BooleanField(
        label="The ground is saturated",
        required=False,
        help_text="Plastic tanks are not emptied whole: an empty one may float.",
    )
    split_large = forms.BooleanField(
        label="Take a load larger than any tanker in several visits of one day",
        required=False,
        initial=True,
    )
    every_day = forms.BooleanField(
        label="Drive at weekends and on public holidays too",
        required=False,
        help_text="Counts when several days are planned; a single day is planned as asked.",
    )
    arrival_minutes = forms.TypedChoiceField(
        label="Tell owners to expect us, either side of the planned time",
        choices=EITHER_SIDE,
        coerce=int,
        initial=60,
    )
    seconds = forms.TypedChoiceField(
        label="Search for", choices=SEARCH_SECONDS, coerce=int, initial=10
    )

    def __init__(
        self, *args: Any, organisation: Organisation, today: dt.date, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.organisation, self.today = organisation, today
        tankers = Tanker.objects.filter(organisation=organisation, in_use=True)
        works = Works.objects.filter(organisation=organisation, in_use=True)
        self._choose("tankers", tankers.select_related("base", "crew").order_by("name"))
        self._choose("works", works.order_by("name"))
        self.fields["kinds"].initial = list(TANKER_WORK)
        self.initial.setdefault("first_day", next_working_day(today))
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.layout = Layout(
            Fieldset("When", Row("first_day", "days", "look_ahead_days"), "every_day"),
            Fieldset("Who and where", Row("tankers", "works")),
            Fieldset(
                "How",
                Row("kinds", "litres_quantile"),
                "ground_saturated",
                "split_large",
                Row("arrival_minutes", "seconds"),
            ),
        )

    def _choose(self, name: str, rows: Any) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ModelMultipleChoiceField)
        field.queryset = rows
        field.initial = [row.public_id for row in rows]

    def clean_first_day(self) -> dt.date:
        """A day that is not over."""
        day: dt.date = self.cleaned_data["first_day"]
        if day < self.today:
            raise forms.ValidationError("That day has passed.")
        return day

    def settings(self, jobs: Sequence[Job]) -> PlanSettings:
        """Choices for the run; call only when the form is valid."""
        given = self.cleaned_data
        return PlanSettings(
            tankers=tuple(str(row.public_id) for row in given["tankers"]),
            works=tuple(str(row.public_id) for row in given["works"]),
            jobs=tuple(str(job.public_id) for job in jobs),
            seconds=given["seconds"],
            litres_quantile=given["litres_quantile"],
            ground_saturated=given["ground_saturated"],
            split_large=given["split_large"],
            arrival_minutes=given["arrival_minutes"],
            every_day=given["every_day"],
        )


def next_working_day(today: dt.date) -> dt.date:
    """The first day after today from Monday to Friday."""
    day = today + dt.timedelta(days=1)
    while day.weekday() > 4:
        day += dt.timedelta(days=1)
    return day


class MoveForm(forms.Form):
    """Tanker, day and place in the order for one job of a plan."""

    tanker = forms.ModelChoiceField(
        Tanker.objects.none(), to_field_name="public_id", empty_label=None
    )
    day = forms.TypedChoiceField(coerce=dt.date.fromisoformat)
    position = forms.ChoiceField(label="Place among the jobs of that round")

    def __init__(
        self,
        *args: Any,
        tankers: Sequence[Tanker],
        days: Sequence[dt.date],
        most_jobs: int,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["tanker"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Tanker.objects.filter(pk__in=[tanker.pk for tanker in tankers])
        self._offer("day", [(day.isoformat(), date_format(day, "D j M Y")) for day in days])
        places = [(str(place), f"{place + 1}.") for place in range(most_jobs + 1)]
        self._offer("position", [(BEST_PLACE, "Wherever it fits best"), *places])

    def _offer(self, name: str, choices: list[tuple[str, str]]) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices

    @property
    def place(self) -> int | None:
        """Number in the order from 0; None for the best place."""
        position = self.cleaned_data["position"]
        return None if position == BEST_PLACE else int(position)


class AcceptedMoveForm(forms.Form):
    """Tanker, day and place in the order for one job of an accepted round."""

    tanker = forms.ModelChoiceField(
        Tanker.objects.none(), to_field_name="public_id", empty_label=None
    )
    day = forms.DateField(widget=DateInput())
    position = forms.ChoiceField(label="Place among the jobs of that round")
    others_may_move = forms.BooleanField(
        label="Promises to others on these rounds may move too",
        required=False,
        help_text="Otherwise their promised hours are kept, and a place that breaks one is refused.",
    )
    part = forms.IntegerField(required=False, widget=forms.HiddenInput())

    def __init__(self, data: Any, *, planned: Round, at: Stop) -> None:
        initial = {"tanker": planned.tanker.public_id, "day": planned.day, "part": at.part}
        super().__init__(data, initial=initial)
        field = self.fields["tanker"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Tanker.objects.filter(
            organisation=planned.organisation, in_use=True
        ).order_by("name")
        position = self.fields["position"]
        assert isinstance(position, forms.ChoiceField)
        places = [(str(place), f"{place + 1}.") for place in range(MOST_JOBS_A_ROUND)]
        position.choices = [(BEST_PLACE, "Wherever it fits best"), *places]

    @property
    def place(self) -> int | None:
        """Number in the order from 0; None for the best place."""
        position = self.cleaned_data["position"]
        return None if position == BEST_PLACE else int(position)


def crews_of(organisation: Organisation) -> QuerySet[Crew]:
    """Crews that may be sent out."""
    return Crew.objects.filter(organisation=organisation, in_use=True).order_by("name")


class CrewForm(forms.Form):
    """Who drives a round."""

    crew = forms.ModelChoiceField(
        Crew.objects.none(),
        to_field_name="public_id",
        required=False,
        empty_label="Nobody yet",
        label="Driven by",
    )

    def __init__(
        self, *args: Any, planned: Round, crews: QuerySet[Crew] | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.initial["crew"] = planned.crew.public_id if planned.crew else None
        field = self.fields["crew"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = crews_of(planned.organisation) if crews is None else crews
        field.widget.attrs |= {"id": f"crew-{planned.public_id}", "class": "form-select short"}


class WithdrawForm(forms.Form):
    """Why a round is called off: the words go to owners and crew."""

    because = forms.CharField(
        label="Why is it called off?",
        max_length=200,
        help_text="Owners and crew read this. Their visits are cancelled and the jobs wanted again.",
    )
