"""Forms of the pages that bring a list in."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from django import forms

from servicing.importers.columns import ColumnMapping
from servicing.importers.fields import BY_NAME, FIELDS
from servicing.importers.sheets import Sheet, SheetError, check_size
from servicing.importers.volumes import UNIT_LABELS
from servicing.models import System

if TYPE_CHECKING:
    from django.core.files.uploadedfile import UploadedFile
    from django.forms import BoundField

    from servicing.importers.rows import Defaults

Choices = list[tuple[str, Any]]
ENCODINGS = [
    ("", "As it seems"),
    ("utf-8", "Unicode (UTF-8)"),
    ("cp1252", "Windows, western Europe"),
    ("mac_roman", "Old Mac"),
    ("cp850", "DOS"),
    ("iso8859_14", "Celtic (ISO 8859-14)"),
]
GRID_NAMES = [
    ("british", "British National Grid"),
    ("irish", "Irish Grid"),
    ("irish_transverse_mercator", "Irish Transverse Mercator"),
]


class ListForm(forms.Form):
    """The file itself."""

    file = forms.FileField(
        label="List of systems",
        help_text="CSV or XLSX, up to 20 MB, one row a system, headings in the first rows.",
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.txt,.tsv,.xlsx"}),
        error_messages={"required": "Choose a file first.", "empty": "The file is empty."},
    )

    def clean_file(self) -> UploadedFile[Any]:
        """Refuse what is too large to be a list."""
        file: UploadedFile[Any] = self.cleaned_data["file"]
        try:
            check_size(file.size or 0)
        except SheetError as error:
            raise forms.ValidationError(str(error)) from error
        return file


class ReadingForm(forms.Form):
    """What each column means, and the answers to what a list leaves open."""

    gallon = forms.ChoiceField(
        label="Gallons are",
        choices=[
            ("imperial_gallons", "Imperial (4.546 litres)"),
            ("us_gallons", "US (3.785 litres)"),
        ],
    )
    volume_unit = forms.ChoiceField(
        label="Volumes without a unit are in",
        choices=[(name, label) for name, label in UNIT_LABELS.items() if name != "gallons"],
    )
    month_first = forms.ChoiceField(
        label="03/04/2021 means",
        choices=[("", "3 April (day first)"), ("yes", "4 March (month first)")],
        required=False,
    )
    kind = forms.ChoiceField(
        label="Kind of system where none is given",
        choices=[("", "Refuse the row"), *System.Kind.choices],
        required=False,
    )
    grid = forms.ChoiceField(label="Eastings and northings are on the", choices=GRID_NAMES)
    encoding = forms.ChoiceField(
        label="If letters look wrong, read it as", choices=ENCODINGS, required=False
    )

    def __init__(
        self, *args: Any, sheet: Sheet, mapping: ColumnMapping, defaults: Defaults, **kwargs: Any
    ) -> None:
        """Add a choice per column of the sheet, and one of its sheets where there are several."""
        super().__init__(*args, **kwargs)
        self.sheet, self.mapping = sheet, mapping
        for name in ("gallon", "volume_unit", "kind", "grid"):
            self.initial.setdefault(name, getattr(defaults, name))
        self.initial["month_first"] = "yes" if defaults.month_first else ""
        for column in mapping:
            self.fields[f"column_{column.index}"] = forms.ChoiceField(
                label=column.heading, choices=uses(), initial=column.use, required=False
            )
        if len(sheet.worksheets) > 1:
            self.fields["worksheet"] = forms.ChoiceField(
                label="Sheet of the workbook",
                choices=[(title, title) for title in sheet.worksheets],
                initial=sheet.worksheet,
            )
        if sheet.worksheets:
            del self.fields["encoding"]
        for field in self.fields.values():
            field.widget.attrs.setdefault("class", "form-select")

    def clean(self) -> dict[str, Any]:
        """One meaning belongs to one column."""
        said: dict[str, Any] = super().clean() or {}
        seen: dict[str, str] = {}
        for column in self.mapping:
            meaning = said.get(f"column_{column.index}", "").partition(":")[0]
            if meaning and meaning in seen:
                label = BY_NAME[meaning].label
                self.add_error(
                    f"column_{column.index}",
                    f"“{label}” is given to the column “{seen[meaning]}” already.",
                )
            seen.setdefault(meaning, column.heading)
        return said

    def answers(self) -> dict[str, Any]:
        """What was answered about the whole list."""
        names = ("gallon", "volume_unit", "month_first", "kind", "grid", "encoding", "worksheet")
        said = {name: self.cleaned_data[name] for name in names if name in self.cleaned_data}
        return said | {"month_first": bool(said["month_first"])}

    @property
    def reads_otherwise(self) -> bool:
        """Whether an answer makes another sheet of the file, with other columns."""
        return not {"encoding", "worksheet"}.isdisjoint(self.changed_data)

    def uses(self) -> dict[str, str]:
        """What each column means: its heading, then the field with its unit."""
        return {
            column.heading: self.cleaned_data[f"column_{column.index}"] for column in self.mapping
        }

    def columns(self) -> Iterator[tuple[BoundField, list[str]]]:
        """The choice of each column beside the first things that stand in it."""
        rows = self.sheet.first_rows(30)
        for column in self.mapping:
            cells = [r.cells[column.index] for r in rows if column.index < len(r.cells)]
            texts = [str(cell) for cell in cells if cell not in (None, "")]
            yield self[f"column_{column.index}"], list(dict.fromkeys(texts))[:3]

    def questions(self) -> Iterator[BoundField]:
        """The questions about the whole list."""
        for name in self.fields:
            if not name.startswith("column_"):
                yield self[name]


def uses() -> Choices:
    """Meanings a column can have, in groups; a volume with each unit it can be in."""
    groups: dict[str, list[tuple[str, str]]] = {}
    for one in FIELDS:
        choices = groups.setdefault(one.group, [])
        choices.append((one.name, one.label))
        if one.name == "volume":
            choices += [
                (f"volume:{u}", f"{one.label}, {label}") for u, label in UNIT_LABELS.items()
            ]
    return [("", "Not used"), *groups.items()]
