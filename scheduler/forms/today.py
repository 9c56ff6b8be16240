"""What a driver enters at a works."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms

from scheduler.loads import not_taken
from scheduler.models import MOST_TIPPED_LITRES, Tip
from scheduler.tips import TipTold
from servicing.models import System
from servicing.volumes import UNIT_NAMES, from_litres, spoken, to_litres

if TYPE_CHECKING:
    from collections.abc import Iterable

    from scheduler.loads import Book
    from scheduler.models import Stop, Works
    from servicing.visit_facts import Refusal


class LitresForm(forms.Form):
    """A volume typed in the units of whoever drives, taken as litres."""

    volume = forms.FloatField(
        min_value=0, widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"})
    )
    what = ""
    missing = ""

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.units = units
        self.fields["volume"].label = f"{self.what}, {UNIT_NAMES[units]}"
        self.fields["volume"].error_messages["required"] = self.missing

    def clean_volume(self) -> float:
        """Litres; no tanker holds more than MOST_TIPPED_LITRES."""
        litres = to_litres(self.cleaned_data["volume"], self.units)
        if litres > MOST_TIPPED_LITRES:
            message = "No tanker holds that much."
            raise forms.ValidationError(message)
        return litres


class LoadForm(LitresForm):
    """What one of several visits to a job took out."""

    what, missing = "Taken out on this visit", "Say how much was taken out."
    lid_back_on = forms.BooleanField(
        label="The cover is back on and its bolts are in",
        error_messages={"required": "Nobody leaves an open cover: put it back, then tick this."},
    )
    note = forms.CharField(label="Note for whoever comes next", max_length=300, required=False)


class TipForm(LitresForm):
    """The weighbridge or meter figure and the number on the ticket."""

    what, missing = "Tipped", "Say how much was tipped."
    measured_by = forms.ChoiceField(
        label="Read from", choices=Tip.MeasuredBy.choices, required=False
    )
    kilograms = forms.IntegerField(
        label="Weight on the ticket, kg",
        required=False,
        min_value=1,
        max_value=MOST_TIPPED_LITRES * 2,
        widget=forms.NumberInput(attrs={"inputmode": "numeric", "step": "1"}),
    )
    ticket = forms.CharField(
        label="Ticket number",
        max_length=60,
        error_messages={"required": "Give the number on the ticket."},
    )
    stayed = forms.BooleanField(label="A part stayed on board", required=False)
    agreed_with = forms.CharField(
        label="Who at the works agreed to take it", max_length=120, required=False
    )
    remark = forms.CharField(label="About this load", max_length=300, required=False)
    sure = forms.BooleanField(label="I have looked again: it is right as it stands", required=False)

    def __init__(
        self,
        *args: Any,
        units: str,
        book: Book | None = None,
        works: Works | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, units=units, **kwargs)
        if book is not None:
            self.fields["volume"].help_text = on_board_words(book, units)
        shown = {"agreed_with": bool(book and works and not_taken(works, book.on_board))}
        for name in ("agreed_with", "sure"):
            answered = self.is_bound and self.data.get(self.add_prefix(name))
            if not (answered or shown.get(name)):
                self.fields[name].widget = forms.HiddenInput()

    def told(self) -> TipTold:
        """What the driver says, once the form is valid."""
        said = self.cleaned_data
        return TipTold(
            litres=said["volume"],
            ticket=said["ticket"],
            measured_by=said["measured_by"] or Tip.MeasuredBy.METER,
            kilograms=said["kilograms"],
            emptied_out=not said["stayed"],
            agreed_with=said["agreed_with"],
            remark=said["remark"],
            sure=said["sure"],
        )

    def add_refusals(self, refusals: Iterable[Refusal]) -> None:
        """Put what was refused at its field, and show the field that answers it."""
        for refusal in refusals:
            self.add_error(refusal.field, refusal.text)
            if refusal.can_be_confirmed:
                self.fields["sure"].widget = forms.CheckboxInput()
            if refusal.field == "agreed_with":
                self.fields["agreed_with"].widget = forms.TextInput()


def on_board_words(book: Book, units: str) -> str:
    """What the sheets say is on board, for who stands at the meter."""
    if not book.on_board:
        return "No sheet of this load is in yet."
    count = len({one.visit.pk for one in book.on_board})
    said = f"By {count} sheet{'' if count == 1 else 's'}, {spoken(book.litres_on_board, units)} are on board."
    kinds = sorted({System.Kind(one.kind).label.lower() for one in book.on_board})
    if len(kinds) > 1:
        said += f" A mixed load ({', '.join(kinds)}): ask the works before you tip."
    return said


def tip_start(stop: Stop, units: str) -> dict[str, Any]:
    """What was entered at this works before."""
    tip = Tip.objects.filter(stop=stop).first()
    if tip is None:
        return {}
    return {
        "volume": round(from_litres(tip.litres, units)),
        "measured_by": tip.measured_by,
        "kilograms": tip.kilograms,
        "ticket": tip.ticket,
        "stayed": not tip.emptied_out,
        "remark": tip.remark,
    }
