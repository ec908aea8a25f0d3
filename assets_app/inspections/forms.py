"""The phone-first form of a look: one look, one finding at a time, photos; it works without a script."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.http import QueryDict

from assets_app.doors.beside import beside
from assets_app.inspections import kinds
from assets_app.inspections.inputs import PLACES, FindingInput
from assets_app.inspections.look_rules import MOST_FINDINGS
from assets_app.inspections.models import Finding, Inspection, Method, Severity
from assets_app.refusals import Refused
from assets_app.register.models import Joint, Site


class ManyFiles(forms.ClearableFileInput):
    allow_multiple_selected = True


class PhotosField(forms.FileField):
    """Any number of files; their content is judged later, by the action."""

    widget = ManyFiles(attrs={"accept": "image/jpeg,image/png,image/webp,image/heic,image/heif"})

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        given = data if isinstance(data, list | tuple) else [data]
        return [super(PhotosField, self).clean(one, initial) for one in given if one]


class LookForm(forms.Form):
    """One look with at most one finding; *save and add another* starts the next finding of the same look."""

    method = forms.ChoiceField(choices=Method.choices)
    inspected_at = forms.DateTimeField(
        label="When",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text="on the site's clock",
    )
    result = forms.ChoiceField(choices=Inspection.Result.choices, widget=forms.RadioSelect)
    conditions = forms.ChoiceField(choices=Inspection.Conditions.choices, initial="normal")
    counter_total = forms.FloatField(
        required=False, label="Counter reads", min_value=0, widget=forms.NumberInput(attrs={"inputmode": "decimal"})
    )
    note = forms.CharField(required=False, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, joint: Joint, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.zone = ZoneInfo(joint.asset.site.time_zone)
        if joint.kind == Joint.Kind.WELD:
            self.fields["method"].choices = [one for one in Method.choices if one[0] != Method.BOLT_CHECK]

    def clean_inspected_at(self) -> datetime:
        """What was typed is the site's time, whatever zone the server runs in."""
        typed: datetime = self.cleaned_data["inspected_at"]
        return typed.replace(tzinfo=self.zone)


class FindingForm(forms.Form):
    """One finding. Everything may stay empty when nothing was found."""

    finding_id = forms.ChoiceField(required=False, label="Which")
    kind = forms.ChoiceField(required=False)
    size = forms.CharField(
        required=False,
        max_length=40,
        label="Size",
        widget=forms.TextInput(attrs={"inputmode": "text", "placeholder": "3/8 in or 10 mm", "autocomplete": "off"}),
    )
    length = forms.CharField(required=False, max_length=40, label="Length along the weld")
    depth = forms.CharField(required=False, max_length=40, label="Depth of a crack")
    place = forms.ChoiceField(required=False, choices=[("", "not said"), *((one, one) for one in PLACES)])
    clock_deg = forms.FloatField(
        required=False,
        min_value=0,
        label="On a tube: degrees clockwise from the top",
        help_text="90 is 3 o'clock; of a crack its middle",
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"}),
    )
    position = forms.CharField(required=False, max_length=40, label="On a plate, from the datum end")
    bolts = forms.CharField(required=False, max_length=200, label="Bolts, by number", help_text="such as 3, 4")
    finding_note = forms.CharField(
        required=False, label="Note on the finding", widget=forms.Textarea(attrs={"rows": 2})
    )
    photos = PhotosField(required=False, help_text="JPEG, PNG, WebP or HEIC; the position in them is removed")

    def __init__(self, *args: Any, joint: Joint, known: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        grouped = [
            (group, [(one.code, one.words) for one in members])
            for group, members in kinds.for_joint(joint.kind).items()
        ]
        self.fields["kind"].choices = [("", "nothing found"), *grouped]
        self.fields["finding_id"].choices = [("", "a new finding"), *((str(pk), words) for pk, words in known)]
        unit = "in" if joint.asset.site.units == Site.Units.US else "mm"
        for name in ("size", "length", "depth", "position"):
            self.fields[name].label = f"{self.fields[name].label} ({unit}, if no unit is written)"
        if joint.kind == Joint.Kind.WELD:
            del self.fields["bolts"]

    def clean_bolts(self) -> list[int]:
        parts = self.cleaned_data["bolts"].replace(",", " ").replace(";", " ").split()
        if any(not part.isdigit() or len(part) > 5 for part in parts):
            raise forms.ValidationError("Write the numbers of the bolts, such as 3, 4.")
        return [int(part) for part in parts]

    @property
    def is_given(self) -> bool:
        return bool(self.cleaned_data.get("kind") or self.cleaned_data.get("finding_id"))

    def finding(self) -> FindingInput:
        told = self.cleaned_data
        return FindingInput(
            kind="" if told["finding_id"] else told["kind"],
            size=told["size"],
            length=told["length"],
            depth=told["depth"],
            place=told["place"],
            clock_deg=told["clock_deg"],
            position=told["position"],
            bolts=told.get("bolts", ()),
            note=told["finding_note"],
            finding_id=int(told["finding_id"]) if told["finding_id"] else None,
        )


Findings = forms.formset_factory(FindingForm, extra=0, max_num=MOST_FINDINGS, absolute_max=MOST_FINDINGS)


def with_one_more(sent: QueryDict) -> QueryDict:
    """What was sent, asking for one more finding."""
    data = sent.copy()
    data["findings-TOTAL_FORMS"] = str(min(_count(data.get("findings-TOTAL_FORMS")) + 1, MOST_FINDINGS))
    return data


def typed(data: Any) -> list[dict[str, str]]:
    """What was typed in each finding so far, for a form that is shown again with one more."""
    names = list(FindingForm.base_fields)
    count = _count(data["findings-TOTAL_FORMS"])
    return [{name: data.get(f"findings-{row}-{name}", "") for name in names} for row in range(count)]


def _count(text: str | None) -> int:
    return int(text) if text and text.isdigit() and len(text) < 4 else 1


def known_words(finding: Finding) -> str:
    kind = kinds.KINDS[finding.kind].words if finding.kind in kinds.KINDS else finding.kind
    return f"{kind} found {finding.found_on:%-d %b %Y}, measured again"


def beside_the_field(refusal: Refused, look: LookForm, rows: forms.BaseFormSet[FindingForm]) -> None:
    """The refusal of an action, put beside the field it names."""
    where, _, name = refusal.field.rpartition(".")
    if where.startswith("findings["):
        given = [form for form in rows if form.is_given]
        form = given[int(where.removeprefix("findings[").removesuffix("]"))]
        beside(form, refusal, field=name)
    else:
        beside(look, refusal)


class PhotosForm(forms.Form):
    """Photos that come later, with what they show."""

    photos = PhotosField(label="Add photos", help_text="JPEG, PNG, WebP or HEIC; the position in them is removed")
    caption = forms.CharField(required=False, max_length=160, label="What they show")


class ReasonForm(forms.Form):
    reason = forms.CharField(widget=forms.Textarea(attrs={"rows": 2}), label="Why", max_length=4000)


class WhatWasWrongForm(forms.Form):
    """Why a look is corrected; above the look as it should stand."""

    reason = forms.CharField(widget=forms.Textarea(attrs={"rows": 2}), label="What was wrong", max_length=4000)


class SeverityForm(ReasonForm):
    severity = forms.ChoiceField(choices=Severity.choices)
    field_order = ("severity", "reason")


class AssessForm(ReasonForm):
    ends_on = forms.DateField(label="May stand until", widget=forms.DateInput(attrs={"type": "date"}))
    severity = forms.ChoiceField(choices=Severity.choices[1:], label="As", initial="watch")
    field_order = ("ends_on", "severity", "reason")


class JoinForm(ReasonForm):
    """``known`` are the findings that it may be, ``(id, words)``."""

    same_as = forms.TypedChoiceField(label="It is", coerce=int)
    field_order = ("same_as", "reason")

    def __init__(self, *args: Any, known: Sequence[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["same_as"].choices = known  # type: ignore[attr-defined]
