"""Forms of the pages of recordings."""

from __future__ import annotations

from django import forms

from assets_app.register.models import Asset
from schedules.duty.models import StressSpectrum
from schedules.duty.recordings.models import Recording


def _figure(label: str, **more: object) -> forms.FloatField:
    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
    return forms.FloatField(label=label, widget=widget, **more)  # type: ignore[arg-type]


class RecordingForm(forms.Form):
    """A file, and how it is to be taken."""

    file = forms.FileField(
        label="CSV or Parquet file",
        help_text="The first row names the columns. An empty cell is a lost sample.",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.parquet,text/csv"}),
    )
    column = forms.CharField(
        label="Column", max_length=120, required=False, help_text="Empty: the only one of numbers beside the time."
    )
    unit = forms.ChoiceField(label="Unit of the column", choices=[("", "choose"), *Recording.Unit.choices])
    operating_cycles = _figure("It covers")
    note = forms.CharField(label="Which gauge, where, on which day", max_length=200, required=False)
    cleaning = forms.ChoiceField(label="Screening", choices=Recording.Cleaning.choices, initial="spikes")
    spike_limit_mpa = _figure(
        "A sample is a spike beyond, MPa", required=False, help_text="Empty: worked out from the recording."
    )
    residue = forms.ChoiceField(
        label="Cycles that stay open",
        choices=Recording.Residue.choices,
        initial="closed",
        help_text="Closing them never counts less damage.",
    )
    bin_width_mpa = _figure("Width of a bin, MPa", initial=1)
    youngs_modulus_mpa = _figure("Modulus, MPa", initial=210000, help_text="Used for strain only; steel has 210 000.")

    MAIN = ("file", "column", "unit", "operating_cycles", "note")

    def __init__(self, *args, unit: str, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["operating_cycles"].label = f"It covers, {unit or 'operating cycles'}"
        self.fields["operating_cycles"].help_text = "As many as the asset's counter moved while it ran."

    def main(self) -> list[forms.BoundField]:
        return [self[name] for name in self.MAIN]

    def rest(self) -> list[forms.BoundField]:
        return [field for field in self if field.name not in self.MAIN]

    @property
    def rest_wrong(self) -> bool:
        return any(field.errors for field in self.rest())


class UseForm(forms.Form):
    """Which joints get the spectrum, and how the gauge's stress becomes theirs."""

    joints = forms.ModelMultipleChoiceField(queryset=None, label="Joints", widget=forms.CheckboxSelectMultiple)
    scale = _figure("Stress at the joint over stress at the gauge", initial=1)
    scale_reason = forms.CharField(
        label="Where the factor comes from",
        max_length=200,
        required=False,
        help_text="Needed unless it is 1. A detail category for nominal stress holds the weld's own concentration.",
    )
    peak_stress_mpa = _figure(
        "Greatest tension at the joint, MPa",
        required=False,
        help_text="Dead load included, which the gauge does not know. Empty: crack growth stays unrated.",
    )
    kind = forms.ChoiceField(label="Stress", choices=StressSpectrum._meta.get_field("kind").choices)
    bending_share = _figure("Share of bending, 0 to 1", initial=0)
    valid_from = forms.DateField(label="Valid from", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))

    def __init__(self, *args, asset: Asset, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["joints"].queryset = asset.joints.order_by("tag")
        self.fields["joints"].label_from_instance = lambda joint: f"{joint.tag} {joint.name}".strip()
