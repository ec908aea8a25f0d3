"""Which joints, on which sheet."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from assets_app.labels.rules import GRID_WORDS, GRIDS, PAGES, Grid
from assets_app.register.models import Joint

CUSTOM = "custom"
SIZES = ("label_width_mm", "label_height_mm", "columns", "rows")
OFFSETS = ("margin_left_mm", "margin_top_mm", "gap_x_mm", "gap_y_mm")


def _mm(label: str, *, initial: float | None = None) -> forms.FloatField:
    widget = forms.TextInput(attrs={"inputmode": "decimal"})
    return forms.FloatField(label=f"{label}, mm", required=False, initial=initial, widget=widget)


class SheetForm(forms.Form):
    """The sheet of labels; the figures count only for a sheet of one's own."""

    layout = forms.ChoiceField(
        label="Sheet", choices=[*GRID_WORDS.items(), (CUSTOM, "another sheet: give its figures")]
    )
    start_at = forms.IntegerField(
        label="First free label", initial=1, min_value=1, help_text="on a part-used sheet: count row by row from 1"
    )
    outlines = forms.BooleanField(label="Draw the outlines, to cut plain paper", required=False)
    page = forms.ChoiceField(choices=[(name, name) for name in PAGES], required=False, label="Paper")
    label_width_mm = _mm("Label width")
    label_height_mm = _mm("Label height")
    columns = forms.IntegerField(label="Labels across", required=False)
    rows = forms.IntegerField(label="Labels down", required=False)
    margin_left_mm = _mm("Left margin", initial=0)
    margin_top_mm = _mm("Top margin", initial=0)
    gap_x_mm = _mm("Gap across", initial=0)
    gap_y_mm = _mm("Gap down", initial=0)

    def __init__(self, *args: Any, joints: Sequence[Joint], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(joint.pk, f"{joint.tag} {joint.name}".strip()) for joint in joints]
        self.fields["joints"] = forms.TypedMultipleChoiceField(
            label="Joints", coerce=int, choices=choices, widget=forms.CheckboxSelectMultiple
        )

    def clean(self) -> dict[str, Any]:
        told = super().clean() or self.cleaned_data
        if told.get("layout") == CUSTOM:
            for name in SIZES:
                if told.get(name) is None and name not in self.errors:
                    self.add_error(name, "A sheet of your own needs this figure.")
        return told

    def grid(self) -> Grid:
        """The grid that was chosen; for a valid form."""
        told = self.cleaned_data
        if told["layout"] != CUSTOM:
            return GRIDS[told["layout"]]
        figures = {name: told[name] for name in SIZES} | {name: told[name] or 0.0 for name in OFFSETS}
        return Grid(page=told["page"] or "A4", **figures)

    @property
    def sheet_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("layout", "start_at", "outlines")]

    @property
    def figure_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("page", *SIZES, *OFFSETS)]


class ReissueForm(forms.Form):
    reason = forms.CharField(max_length=200, label="Why", help_text="lost, copied, or on the wrong joint")
