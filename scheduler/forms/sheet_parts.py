"""The parts of a job sheet held together: filled in, checked, and turned into what was found."""

from __future__ import annotations

import re
import uuid
from typing import TYPE_CHECKING, Any

from customers.local_days import at_local, zone_at
from scheduler.forms.dip_form import DipForm
from scheduler.forms.job_sheet import (
    ChamberForm,
    DefectForm,
    VisitForm,
    parts_of,
)
from scheduler.forms.past_sheet import SheetStart
from scheduler.forms.sheet_fields import AbandonForm
from servicing.models import System
from servicing.visit_facts import (
    ChamberFound,
    DefectFound,
    DipFound,
    FieldFound,
    PlantFound,
    RemovalFound,
    VisitFound,
)
from servicing.volumes import UNIT_NAMES, to_litres

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping

    from django.core.files.uploadedfile import UploadedFile
    from django.forms import Form
    from django.http import QueryDict
    from django.utils.datastructures import MultiValueDict

    from scheduler.forms.sheet_fields import ClosingForm
    from scheduler.models import Job
    from servicing.visit_facts import Refusal

DEFECT_LINES = 2
# Where the verb's names of things differ from the sheet's.
FIELD_NAMES = {
    "left_at": "left",
    "removal.litres_removed": "volume_removed",
    "removal.left_behind_litres": "volume_left",
    "removal.refilled_with_water": "refilled_with_water",
}


class JobSheet:
    """All forms of one job's sheet. `units` are those of the organisation whose crew fills it in."""

    def __init__(
        self,
        *,
        job: Job,
        units: str,
        start: SheetStart | None = None,
        data: QueryDict | None = None,
        files: MultiValueDict[str, UploadedFile[Any]] | None = None,
        correcting: bool = False,
    ) -> None:
        self.job, self.units = job, units
        system, start = job.system, start or SheetStart()
        self.visit = VisitForm(
            data,
            files,
            initial={"sheet_key": uuid.uuid4(), **start.visit},
            parts=parts_of(system),
            volume_unit=UNIT_NAMES[units],
            emptying=job.kind == job.Kind.EMPTYING,
            correcting=correcting,
        )
        tanks = system.tanks.all() if system.holds_sludge else ()
        usual = {"notch_mm": start.notch_mm or job.driven_by.stick_notch_mm}
        self.dips = [
            DipForm(data, tank=one, units=units, initial=usual | start.dips.get(one.pk, {}))
            for one in tanks
        ]
        self.chambers = [
            ChamberForm(data, chamber=one, initial=start.chambers.get(one.pk))
            for one in system.chambers.all()
        ]
        lines = [*start.defects, *({} for _ in range(DEFECT_LINES))]
        lines = lines[: max(DEFECT_LINES, len(start.defects))]
        self.defects = [
            DefectForm(data, prefix=f"defect-{n}", initial=told) for n, told in enumerate(lines)
        ]
        self.asks_to_confirm = False

    @property
    def forms(self) -> list[Form]:
        """Every form, in the order of the page."""
        return [self.visit, *self.dips, *self.chambers, *self.defects]

    @property
    def is_plastic(self) -> bool:
        """Whether a tank here may float when it is emptied in wet ground."""
        return any(form.tank.material == form.tank.Material.PLASTIC for form in self.dips)

    def is_valid(self) -> bool:
        """Check every form, so that all that is wrong is told at once."""
        return not [form for form in self.forms if not form.is_valid()]

    def found(self, *, tanker_litres: float | None = None) -> VisitFound:
        """What the crew says, once every form is valid."""
        told = self.visit.cleaned_data
        return VisitFound(
            **closing_facts(self.visit, self.job),
            **self.visit.proof(),
            ground=told["ground"],
            who_was_present=told["who_was_present"],
            cautions_read=told["cautions_read"],
            lid_back_on=told["lid_back_on"],
            serviced=told.get("serviced", False),
            dips=tuple(self.dips_found()),
            removal=self.removal_found(),
            chambers=tuple(self.chambers_found()),
            drainage_field=self.field_found(),
            plant=self.plant_found(),
            defects=tuple(self.defects_found()),
            tanker_litres=tanker_litres,
        )

    def told_dips(self) -> list[DipForm]:
        """Tanks with a reading."""
        return [form for form in self.dips if form.has_reading]

    def dips_found(self) -> Iterable[DipFound]:
        for form in self.told_dips():
            if form.found is not None:
                yield form.found

    def removal_found(self) -> RemovalFound | None:
        told = self.visit.cleaned_data
        if told.get("removed") not in ("all", "part"):
            return None
        left = told["volume_left"]
        return RemovalFound(
            litres_removed=to_litres(told["volume_removed"], self.units),
            all_compartments=told["removed"] == "all",
            left_behind_litres=None if left is None else to_litres(left, self.units),
            refilled_with_water=told["refilled_with_water"],
            effluent_ran_back=told["effluent_ran_back"],
        )

    def chambers_found(self) -> Iterable[ChamberFound]:
        for form in self.chambers:
            told = form.cleaned_data
            if told["flow"]:
                yield ChamberFound(
                    chamber=form.chamber,
                    flow=told["flow"],
                    debris=told["debris"] or "none",
                    amount=told["amount"] or 0,
                    standing_water_mm=told["standing_water_mm"],
                    action=told["action"] or "left",
                    notes=told["remark"],
                )

    def field_found(self) -> FieldFound | None:
        told = self.visit.cleaned_data
        if not told.get("surface"):
            return None
        return FieldFound(surface=told["surface"], smell=told["smell"], notes=told["field_notes"])

    def plant_found(self) -> PlantFound | None:
        if self.job.system.kind != System.Kind.PACKAGE_PLANT:
            return None
        told = self.visit.cleaned_data
        names = ("blower_running", "alarm_works", "effluent_clear", "settled_sludge_ml_per_l")
        looked = any(told[name] is not None for name in names)
        if not (looked or told["air_filter_cleaned"] or told["plant_notes"]):
            return None
        return PlantFound(
            **{name: told[name] for name in names},
            air_filter_cleaned=told["air_filter_cleaned"],
            notes=told["plant_notes"],
        )

    def defects_found(self) -> Iterable[DefectFound]:
        for form in self.defects:
            if form.cleaned_data.get("what"):
                yield DefectFound(**form.cleaned_data)

    def add_refusals(self, refusals: Iterable[Refusal]) -> None:
        """Put what the verb refused at the fields it is about."""
        for refusal in refusals:
            form, name = self.place_of(refusal.field)
            form.add_error(name if name in form.fields else None, refusal.text)
            self.asks_to_confirm |= refusal.can_be_confirmed

    def place_of(self, field: str) -> tuple[Form, str]:
        """Form and field that a name such as `dips[0].sludge_mm` stands for."""
        dip = re.fullmatch(r"dips\[(\d+)]\.(\w+)", field)
        if dip:
            form = self.told_dips()[int(dip[1])]
            return form, form.place_of(dip[2])
        return self.visit, FIELD_NAMES.get(field, field)


class AbandonSheet:
    """The short sheet of a job that could not be done."""

    def __init__(
        self,
        *,
        job: Job,
        initial: Mapping[str, Any] | None = None,
        data: QueryDict | None = None,
        files: MultiValueDict[str, UploadedFile[Any]] | None = None,
    ) -> None:
        self.job = job
        self.visit = AbandonForm(
            data, files, initial={"sheet_key": uuid.uuid4(), **(initial or {})}
        )
        self.asks_to_confirm = False

    @property
    def forms(self) -> list[Form]:
        """Its one form."""
        return [self.visit]

    def is_valid(self) -> bool:
        """Check it."""
        return self.visit.is_valid()

    def found(self, *, tanker_litres: float | None = None) -> VisitFound:
        """What the crew says, once the form is valid."""
        told = self.visit.cleaned_data
        return VisitFound(
            **closing_facts(self.visit, self.job),
            abandoned_because=told["abandoned_because"],
            cover_lifted=told["cover_lifted"] == "yes",
            lid_back_on=told["lid_back_on"],
            no_photo_because=told["no_photo_because"],
            tanker_litres=tanker_litres,
        )

    def add_refusals(self, refusals: Iterable[Refusal]) -> None:
        """Put what the verb refused at the fields it is about."""
        for refusal in refusals:
            name = FIELD_NAMES.get(refusal.field, refusal.field)
            self.visit.add_error(name if name in self.visit.fields else None, refusal.text)
            self.asks_to_confirm |= refusal.can_be_confirmed


def closing_facts(form: ClosingForm, job: Job) -> dict[str, Any]:
    """What both sheets tell alike, times put on the clock of the place."""
    told = form.cleaned_data
    zone = zone_at(job.system.premises)
    day: dt.date = told["visited_on"]
    return {
        "visited_on": day,
        "sheet_key": told["sheet_key"],
        "arrived_at": at_local(day, told["arrived"], zone) if told["arrived"] else None,
        "left_at": at_local(day, told["left"], zone) if told["left"] else None,
        "crew_name": told["crew_name"],
        "vehicle_registration": told["vehicle_registration"],
        "notes": told["notes"],
        "sure": told["sure"],
    }
