"""Forms for bases, works, tankers and crews."""

from __future__ import annotations

from typing import Any, ClassVar

from crispy_forms.layout import Fieldset, Layout, Row
from django import forms

from customers.forms.scaled import ScaledField
from customers.models import User
from scheduler.forms.fleet_parts import (
    DaysField,
    FleetForm,
    PlacedForm,
    WeekdayHoursField,
    minutes_between,
    position_fields,
)
from scheduler.forms.jobs import TimeInput
from scheduler.forms.waste_codes import WasteCodesField
from scheduler.models import Base, Crew, Tanker, Works
from servicing.models import System

PENCE = 100


class BaseForm(PlacedForm[Base]):
    """Where tankers stand overnight."""

    class Meta:
        model = Base
        fields: ClassVar = ["name", "latitude", "longitude"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper.layout = Layout("name", position_fields("the yard"))


class WorksForm(PlacedForm[Works]):
    """A treatment works: hours, charges, what it takes and when it is closed."""

    charge_pence_per_visit = ScaledField(
        per_unit=PENCE,
        whole=True,
        min_value=0,
        max_value=5000,
        label="Charge a visit, £",
        initial=0,
    )
    charge_pence_per_m3 = ScaledField(
        per_unit=PENCE, whole=True, min_value=0, max_value=5000, label="Charge a m³, £", initial=0
    )
    accepts = forms.MultipleChoiceField(
        choices=[(kind.value, kind.label) for kind in System.HOLDS_SLUDGE],
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="Takes sludge from",
        help_text="None ticked: it takes everything.",
    )
    weekday_hours = WeekdayHoursField(
        required=False,
        label="Weekdays with other hours",
        help_text="One a line, such as Fri 07:00-12:00 or Sat closed.",
    )
    closed_days = DaysField(
        required=False, label="Closed on", help_text="One day a line, such as 2026-12-25."
    )
    own_codes = WasteCodesField(
        required=False,
        label="Waste codes of its own",
        help_text=(
            "Where its permit names another code than the country's list. One a line, such as: "
            "Package treatment plant, 19 08 05, 2026-10-01"
        ),
    )

    class Meta:
        model = Works
        fields: ClassVar = [
            "name",
            "latitude",
            "longitude",
            "opens",
            "closes",
            "tipping_minutes",
            "charge_pence_per_visit",
            "charge_pence_per_m3",
            "accepts",
            "permit_number",
            "weekday_hours",
            "in_use",
        ]
        widgets: ClassVar = {"opens": TimeInput(), "closes": TimeInput()}
        labels: ClassVar = {"in_use": "In use", "tipping_minutes": "Minutes to tip, queue included"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            days = self.instance.closures.order_by("day").values_list("day", flat=True)
            self.initial["closed_days"] = list(days)
            codes = self.instance.waste_codes.values_list("system_kind", "code", "valid_from")
            self.initial["own_codes"] = list(codes)
        self.helper.layout = Layout(
            Row("name", "permit_number"),
            position_fields("the works"),
            Fieldset(
                "Hours", Row("opens", "closes", "tipping_minutes"), "weekday_hours", "closed_days"
            ),
            Fieldset("Charges", Row("charge_pence_per_visit", "charge_pence_per_m3")),
            "accepts",
            "own_codes",
            "in_use",
        )

    def clean(self) -> dict[str, Any]:
        """Open long enough for a tip."""
        given = super().clean()
        opens, closes = given.get("opens"), given.get("closes")
        if opens and closes:
            room = (closes.hour - opens.hour) * 60 + closes.minute - opens.minute
            if room <= 0:
                self.add_error("closes", "It must close after it opens.")
            elif room < given.get("tipping_minutes", 0):
                self.add_error("closes", "It closes before a tip begun at opening would be over.")
        shortest = given.get("tipping_minutes") or 0
        for hours in filter(None, (given.get("weekday_hours") or {}).values()):
            if minutes_between(*hours) < shortest:
                wrong = f"From {hours[0]} to {hours[1]} there is no time for a tip."
                self.add_error("weekday_hours", wrong)
        return given


class CrewForm(FleetForm[Crew]):
    """Who goes out."""

    class Meta:
        model = Crew
        fields: ClassVar = ["name", "email", "phone", "user", "stick_notch_mm", "in_use"]
        labels: ClassVar = {
            "user": "Signs in as",
            "in_use": "In use",
            "email": "E-mail",
            "stick_notch_mm": "Notches of its own dip stick, mm apart",
        }
        help_texts: ClassVar = {
            "email": "Invitations to rounds go here.",
            "user": "Sees the day's round on the phone.",
            "stick_notch_mm": "Empty: as the settings of the organisation say.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        members = User.objects.filter(memberships__organisation=self.organisation).distinct()
        field = self.fields["user"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = members.order_by("name")
        field.empty_label = "Nobody"


class TankerForm(FleetForm[Tanker]):
    """A tanker with everything that limits its day."""

    overtime_pence_per_hour = ScaledField(
        per_unit=PENCE,
        whole=True,
        min_value=0,
        max_value=1000,
        label="Overtime an hour, £ on top",
        initial=0,
    )
    pence_per_km = ScaledField(
        per_unit=PENCE, whole=True, min_value=0, max_value=100, label="A kilometre, £", initial=85
    )
    pence_per_hour = ScaledField(
        per_unit=PENCE, whole=True, min_value=0, max_value=1000, label="An hour, £", initial=2600
    )
    fixed_pence_per_day = ScaledField(
        per_unit=PENCE,
        whole=True,
        min_value=0,
        max_value=10_000,
        label="A day out, £",
        initial=9000,
    )
    days_off = DaysField(
        required=False, label="Days off", help_text="One day a line: workshop, holiday, test."
    )

    class Meta:
        model = Tanker
        fields: ClassVar = [
            "name",
            "vehicle_registration",
            "base",
            "crew",
            "capacity_litres",
            "shift_starts",
            "shift_ends",
            "hours_regime",
            "max_duty_minutes",
            "max_week_minutes",
            "overtime_minutes",
            "overtime_pence_per_hour",
            "break_minutes",
            "break_from",
            "break_until",
            "pence_per_km",
            "pence_per_hour",
            "fixed_pence_per_day",
            "width_m",
            "height_m",
            "gross_tonnes",
            "hose_m",
            "may_end_loaded",
            "in_use",
        ]
        widgets: ClassVar = {
            name: TimeInput()
            for name in ("shift_starts", "shift_ends", "break_from", "break_until")
        }
        labels: ClassVar = {
            "capacity_litres": "Capacity, L",
            "crew": "Usual crew",
            "hours_regime": "Driver hours",
            "max_duty_minutes": "Longest paid duty, minutes",
            "max_week_minutes": "Most work in a week, minutes",
            "overtime_minutes": "Overtime at most, minutes",
            "break_minutes": "Break, minutes",
            "break_from": "Break starts from",
            "break_until": "and no later than",
            "width_m": "Width, m",
            "height_m": "Height, m",
            "gross_tonnes": "Laden weight, t",
            "hose_m": "Hose, m",
            "may_end_loaded": "May stand loaded overnight",
            "in_use": "In use",
        }
        help_texts: ClassVar = {
            "hours_regime": "An aid to planning; your own advice on the law decides.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._own("base", Base.objects.filter(organisation=self.organisation))
        self._own("crew", Crew.objects.filter(organisation=self.organisation, in_use=True))
        if self.instance.pk:
            days = self.instance.days_off.order_by("day").values_list("day", flat=True)
            self.initial["days_off"] = list(days)
        self.helper.layout = Layout(
            Row("name", "vehicle_registration"),
            Row("base", "crew"),
            Fieldset(
                "Size", Row("capacity_litres", "width_m", "height_m"), Row("gross_tonnes", "hose_m")
            ),
            Fieldset(
                "Hours",
                Row("shift_starts", "shift_ends"),
                "hours_regime",
                Row("max_duty_minutes", "max_week_minutes", "overtime_minutes"),
                Row("break_minutes", "break_from", "break_until"),
                "days_off",
            ),
            Fieldset(
                "Costs",
                Row("pence_per_km", "pence_per_hour"),
                Row("fixed_pence_per_day", "overtime_pence_per_hour"),
            ),
            "may_end_loaded",
            "in_use",
        )

    def _own(self, name: str, rows: Any) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = rows.order_by("name")

    def clean(self) -> dict[str, Any]:
        """The shift and the span of the break end after they start."""
        given = super().clean() or self.cleaned_data
        for first, last, message in (
            ("shift_starts", "shift_ends", "The shift must end after it starts."),
            ("break_from", "break_until", "This must not be before the time beside it."),
        ):
            starts, ends = given.get(first), given.get(last)
            wrong = (
                starts and ends and (ends < starts or (ends == starts and first == "shift_starts"))
            )
            if wrong:
                self.add_error(last, message)
        return given
