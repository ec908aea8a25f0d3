"""The forms of a bolt sheet: one for each bolt, one for the look."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from assets_app.inspections import bolt_rules
from assets_app.inspections.bolt_models import BoltReading
from assets_app.inspections.bolt_rules import BoltInput
from assets_app.inspections.models import Inspection
from assets_app.register.models import BoltGroup, Site


def _typed(label: str) -> forms.CharField:
    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
    return forms.CharField(required=False, max_length=24, label=label, widget=widget)


class BoltForm(forms.Form):
    """One bolt. Nothing chosen means that it was not checked."""

    state = forms.ChoiceField(required=False, choices=BoltReading.State.choices, widget=forms.RadioSelect)
    torque_found = _typed("Torque found")
    torque_left = _typed("Torque left")
    tension_found = _typed("Tension found")
    tension_left = _typed("Tension left")
    witness = forms.ChoiceField(
        required=False, label="Witness mark", choices=[("", "not seen"), *BoltReading.Witness.choices]
    )

    def __init__(self, *args: Any, number: int, group: BoltGroup, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, prefix=f"b{number}", **kwargs)
        self.number = number
        torque, tension = ("lbf·ft", "kip") if site.units == Site.Units.US else ("N·m", "kN")
        for name in bolt_rules.FIGURES:
            field = self.fields[name]
            field.label = f"{field.label}, {torque if name.startswith('torque') else tension}"
        by_tension = group.tightening == BoltGroup.Tightening.TENSION
        first, second = ("tension", "torque") if by_tension else ("torque", "tension")
        self.first = [self[f"{first}_found"], self[f"{first}_left"]]
        self.second = [self[f"{second}_found"], self[f"{second}_left"]]

    @property
    def second_is_open(self) -> bool:
        return any(field.errors or field.value() for field in self.second)

    def bolt(self) -> BoltInput:
        told = self.cleaned_data
        return BoltInput(number=self.number, **{name: told.get(name, "") for name in self.fields})


class SheetForm(forms.Form):
    """The look as a whole, and what the sum may take."""

    inspected_at = forms.DateTimeField(
        label="When",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text="on the site's clock",
    )
    conditions = forms.ChoiceField(choices=Inspection.Conditions.choices, initial="normal")
    counter_total = forms.FloatField(
        required=False, label="Counter reads", min_value=0, widget=forms.NumberInput(attrs={"inputmode": "decimal"})
    )
    note = forms.CharField(required=False, max_length=4000, widget=forms.Textarea(attrs={"rows": 2}))
    k = forms.FloatField(
        required=False,
        label="Factor k of the torque",
        help_text=f"from the bolts' certificate; empty: {bolt_rules.USUAL_K:g}, common practice, no source",
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"}),
    )
    moment = _typed("Overturning moment on the group, kN·m")
    pull = _typed("Pull on the group, kN")

    def __init__(self, *args: Any, site: Site, may_load: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.zone = ZoneInfo(site.time_zone)
        if not may_load:
            del self.fields["moment"], self.fields["pull"]

    def clean_inspected_at(self) -> datetime:
        """What was typed is the site's time, whatever zone the server runs in."""
        typed: datetime = self.cleaned_data["inspected_at"]
        return typed.replace(tzinfo=self.zone)

    def sums(self) -> dict[str, Any]:
        """What the working out takes."""
        return {name: self.cleaned_data.get(name) for name in ("k", "moment", "pull")}

    def look(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in ("inspected_at", "conditions", "counter_total", "note")}
