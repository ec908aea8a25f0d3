"""The forms of an order's page. Every one carries the version of the order that the person saw."""

from __future__ import annotations

from typing import Any

from django import forms

from assets_app.inspections.forms import LookForm, PhotosField
from assets_app.inspections.kinds import KINDS
from assets_app.people.models import Person
from assets_app.register.models import Joint
from schedules.work import queries, rules, welding
from schedules.work.models import Wait, WorkOrder

DAY = {"type": "date"}
NUMBER = {"inputmode": "numeric"}


class VersionForm(forms.Form):
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, order: WorkOrder, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order = order
        self.fields["version"].initial = order.version


class AssignForm(VersionForm):
    assignee_id = forms.TypedChoiceField(label="Who does it", required=False, coerce=int, empty_value=None)

    def __init__(self, *args: Any, order: WorkOrder, **kwargs: Any) -> None:
        super().__init__(*args, order=order, **kwargs)
        workers: list[Person] = queries.workers_at(order.site_id)
        self.fields["assignee_id"].choices = [("", "nobody"), *((who.pk, who.display_name) for who in workers)]
        self.fields["assignee_id"].initial = order.assignee_id


class PlanForm(VersionForm):
    planned_on = forms.DateField(label="Planned for", required=False, widget=forms.DateInput(attrs=DAY))
    cost_estimate = forms.DecimalField(
        label="Cost, as estimated", required=False, min_value=0, max_digits=12, decimal_places=2
    )

    def __init__(self, *args: Any, order: WorkOrder, **kwargs: Any) -> None:
        super().__init__(*args, order=order, **kwargs)
        self.fields["planned_on"].initial = order.planned_on and order.planned_on.isoformat()
        self.fields["cost_estimate"].initial = order.cost_estimate
        self.fields["cost_estimate"].label = f"Cost, as estimated ({order.asset.currency})"


class PartForm(VersionForm):
    name = forms.CharField(label="Part", max_length=120)
    quantity = forms.IntegerField(label="How many", min_value=1, initial=1, widget=forms.NumberInput(attrs=NUMBER))
    lead_time_days = forms.IntegerField(
        label="Lead time, days", min_value=0, initial=0, widget=forms.NumberInput(attrs=NUMBER)
    )


class TemporaryWorkForm(VersionForm):
    what = forms.ChoiceField(
        label="What is put on", choices=[(name, each.words) for name, each in rules.TEMPORARY.items()]
    )
    note = forms.CharField(label="Which, and where", required=False, max_length=80)


class WhichPartForm(VersionForm):
    part_id = forms.IntegerField(widget=forms.HiddenInput)


class WaitForm(VersionForm):
    reason = forms.ChoiceField(label="It waits for", choices=Wait.Reason.choices, widget=forms.RadioSelect)
    note = forms.CharField(label="What exactly", required=False, max_length=200)
    expected_until = forms.DateField(label="Expected until", required=False, widget=forms.DateInput(attrs=DAY))


class PartDoneForm(VersionForm):
    note = forms.CharField(label="What is done, what is left", widget=forms.Textarea(attrs={"rows": 2}))
    minutes_spent = forms.IntegerField(
        label="Minutes spent", min_value=0, initial=0, widget=forms.NumberInput(attrs=NUMBER)
    )


class VerifyForm(VersionForm):
    note = forms.CharField(label="What you saw", required=False, widget=forms.Textarea(attrs={"rows": 2}))


class CancelForm(VersionForm):
    reason = forms.CharField(label="Why it is called off", widget=forms.Textarea(attrs={"rows": 2}))


class StepForm(VersionForm):
    value = forms.CharField(required=False, max_length=64)
    photo = forms.FileField(required=False)


class FinishForm(VersionForm):
    """What every finish says; the look, where one is asked for, has its own form beside it."""

    minutes_spent = forms.IntegerField(
        label="Minutes spent", required=False, min_value=0, widget=forms.NumberInput(attrs=NUMBER)
    )
    done_note = forms.CharField(label="Note on the work", required=False, widget=forms.Textarea(attrs={"rows": 2}))


class RepairForm(FinishForm):
    also_repaired = forms.TypedMultipleChoiceField(
        label="Also put right", required=False, coerce=int, widget=forms.CheckboxSelectMultiple
    )
    photos = PhotosField(required=False, label="Photos")

    def __init__(self, *args: Any, order: WorkOrder, **kwargs: Any) -> None:
        super().__init__(*args, order=order, **kwargs)
        others = [one for one in queries.open_findings(order.joint_id) if one.pk != order.finding_id]
        words = [(one.pk, f"{KINDS[one.kind].words} found {one.found_on:%-d %b %Y}") for one in others]
        self.fields["also_repaired"].choices = words
        if not words:
            del self.fields["also_repaired"]


class WeldRepairForm(RepairForm):
    """A repair that welds: who welded, by which process, in which position."""

    welder_id = forms.TypedChoiceField(label="Welded by", required=False, coerce=int, empty_value=None)
    weld_process = forms.CharField(
        label="Welding process", required=False, max_length=8, help_text="its number in ISO 4063, such as 135"
    )
    weld_position = forms.CharField(
        label="Welding position",
        required=False,
        max_length=8,
        help_text="after ISO 6947, such as PF; left empty it is not known and not checked",
    )
    field_order = ("welder_id", "weld_process", "weld_position")

    def __init__(self, *args: Any, order: WorkOrder, welder: Person | None, **kwargs: Any) -> None:
        """``welder``: chosen beforehand; None: who welded is asked."""
        super().__init__(*args, order=order, **kwargs)
        workers: list[Person] = queries.workers_at(order.site_id)
        ask = [] if welder else [("", "who welded it?")]
        self.fields["welder_id"].choices = ask + [(who.pk, who.display_name) for who in workers]
        self.fields["welder_id"].initial = welder.pk if welder else None
        self.fields["weld_process"].initial = welding.process_of(order.joint)
        if not self.fields["weld_process"].initial:
            self.fields["weld_process"].help_text += "; the register does not know it. Left empty it is not checked"

    def weld(self) -> welding.WeldInput:
        told = self.cleaned_data
        return welding.WeldInput(
            welder_id=told["welder_id"], process=told["weld_process"], position=told["weld_position"]
        )


class OrderLookForm(LookForm):
    """The look of an order: its method is given, and it was made now."""

    def __init__(self, *args: Any, joint: Joint, **kwargs: Any) -> None:
        super().__init__(*args, joint=joint, **kwargs)
        del self.fields["method"], self.fields["inspected_at"]


class PlaceHoldForm(forms.Form):
    asset_id = forms.TypedChoiceField(label="What is held", coerce=int)
    joint_tag = forms.CharField(
        label="Joint", required=False, max_length=64, help_text="its tag, such as W-001; empty holds all of it"
    )
    reason = forms.CharField(label="What is wrong", widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        assets = queries.assets_in_sight(person)
        self.fields["asset_id"].choices = [(one.pk, f"{one.tag} {one.name}") for one in assets]

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        tag, asset_id = data.get("joint_tag"), data.get("asset_id")
        if tag and asset_id:
            joint = Joint.objects.filter(asset_id=asset_id, tag__iexact=tag.strip()).first()
            if joint is None:
                self.add_error("joint_tag", "There is no joint of that tag on it.")
            else:
                data["joint_id"] = joint.pk
        return data


class ReleaseForm(forms.Form):
    reason = forms.CharField(label="Why it is safe again", widget=forms.Textarea(attrs={"rows": 2}))
    evidence = forms.CharField(
        label="Evidence", max_length=240, help_text="report, certificate or photo that you rely on"
    )


class RaiseDueForm(forms.Form):
    site_id = forms.TypedChoiceField(label="Site", coerce=int)
    within_days = forms.IntegerField(
        label="Due within, days", min_value=0, max_value=366, initial=30, widget=forms.NumberInput(attrs=NUMBER)
    )

    def __init__(self, *args: Any, sites: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site_id"].choices = [(site.pk, site.name) for site in sites]
