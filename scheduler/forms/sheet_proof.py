"""What proves a visit: cautions read at a time, the cover's photograph, and a signature."""

from __future__ import annotations

import re
from typing import Any

from django import forms

from scheduler.forms.sheet_fields import no_photo_reason, photo
from servicing.models import Visit, VisitPhoto

MOST_OF_SIGNATURE = 20_000
# A path of an SVG (SVG 1.1, 8.3) of moves and lines with whole numbers alone: nothing else gets in.
STROKES = re.compile(r"(?:M\d{1,4} \d{1,4}(?:L\d{1,4} \d{1,4})*)+")
POINT = re.compile(r"(\d+) (\d+)")
# Less than this is a slip of a finger and no name. Our own measure, in the pad's 600 by 200.
LEAST_POINTS = 8
LEAST_WIDTH = 40
PHOTO_FIELDS = {f"photo_{kind}": kind for kind in VisitPhoto.Kind.values}


def is_blank(strokes: str) -> bool:
    """Whether the pad holds nothing that could be a name."""
    points = [(int(x), int(y)) for x, y in POINT.findall(strokes)]
    if len(points) < LEAST_POINTS:
        return True
    across = [x for x, _ in points]
    return max(across) - min(across) < LEAST_WIDTH


class ProofForm(forms.Form):
    """Cautions, photographs and signature of one sheet."""

    cautions_at = forms.DateTimeField(required=False, widget=forms.HiddenInput)
    photo_lid_before = photo("Photo of the cover before it moves")
    photo_found = photo("Photo of what was found")
    photo_lid_back = photo("Photo of the cover back on")
    no_photo_because = no_photo_reason()
    signed_how = forms.ChoiceField(
        label="Signed by",
        choices=[
            (Visit.Signed.DRAWN, "Signing on the screen"),
            (Visit.Signed.TYPED, "Typing the name"),
            (Visit.Signed.NOBODY, "Nobody: nobody is at home"),
        ],
        widget=forms.RadioSelect,
        error_messages={"required": "Say who signs, or that nobody is at home."},
    )
    signed_by = forms.CharField(label="Name of who signs", max_length=160, required=False)
    signature = forms.CharField(required=False, widget=forms.HiddenInput)

    PROOF = (
        "cautions_at",
        *PHOTO_FIELDS,
        "no_photo_because",
        "signed_how",
        "signed_by",
        "signature",
    )

    def clean_signature(self) -> str:
        """Keep strokes and nothing else."""
        strokes: str = self.cleaned_data["signature"]
        if strokes and (len(strokes) > MOST_OF_SIGNATURE or not STROKES.fullmatch(strokes)):
            message = "The signature did not arrive whole. Sign again."
            raise forms.ValidationError(message)
        return strokes

    def clean(self) -> dict[str, Any]:
        """Keep only what belongs to the way it was signed; a blank pad is no signature."""
        cleaned = super().clean() or self.cleaned_data
        how = cleaned.get("signed_how")
        if how == Visit.Signed.DRAWN and is_blank(cleaned.get("signature", "")):
            self.add_error(
                "signed_how",
                "The signature is blank. Sign in the frame, type the name, or say that nobody "
                "is at home.",
            )
        if how == Visit.Signed.TYPED and len(cleaned.get("signed_by", "")) < 2:
            self.add_error("signed_by", "Type the name of who signs.")
        if how != Visit.Signed.DRAWN:
            cleaned["signature"] = ""
        if how == Visit.Signed.NOBODY:
            cleaned["signed_by"] = ""
        return cleaned

    def proof(self) -> dict[str, Any]:
        """What of the visit's facts this form tells; nothing where it was not asked."""
        if "signed_how" not in self.fields:
            return {}
        told = self.cleaned_data
        names = ("no_photo_because", "signed_how", "signed_by", "signature")
        return {"cautions_read_at": told["cautions_at"], **{name: told[name] for name in names}}
