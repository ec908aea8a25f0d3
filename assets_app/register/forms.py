"""Forms of the register's pages. What is typed goes to the actions as text, units and all."""

from __future__ import annotations

from typing import Any

from django import forms

from assets_app.register.columns import FIELDS
from assets_app.register.models import Asset, Joint, Site
from engineering import details

LABELS = {
    "commissioned_on": "In service since",
    "installed_on": "Installed on",
    "consequence": "Consequence of a failure",
    "place": "Where it stands",
    "position": "Where on the asset",
    "active": "In use (cleared: nothing is owed here)",
    "leg_mm": "Leg, mm",
    "process": "Process (ISO 4063)",
    "quality_level": "Quality level (ISO 5817)",
    "detail": "Detail of the catalogue",
    "detail_category_mpa": "Detail category, MPa",
    "wall_mm": "Wall where the toe cracks, mm",
    "other_wall_mm": "Other wall, mm",
    "tube_diameter_mm": "Tube diameter, mm",
    "attachment_mm": "Length of the attachment, mm",
    "preload_kn": "Preload, kN",
    "positions": "Positions, mm",
    "bolt_count": "Number of bolts",
}
HELP = {"access": "", "position": "", "wall_mm": "", "quality_level": "B, C or D", "positions": "0 0; 60 0; 60 80"}
UNITS = {"mm": "mm", "mpa": "MPa", "kn": "kN"}
ASSET_FIELDS = tuple(FIELDS["asset"])
JOINT_FIELDS = ("tag", "name", "load_path", "access", "position", "installed_on", "active", "note")
NEEDED = {("asset", "tag"), ("asset", "name"), ("asset", "kind"), ("joint", "tag")}


def _label(name: str) -> str:
    if name in LABELS:
        return LABELS[name]
    stem, _, unit = name.rpartition("_")
    words = stem if unit in UNITS and stem else name
    return words.replace("_", " ").capitalize() + (f", {UNITS[unit]}" if unit in UNITS and stem else "")


def _details() -> list[tuple[str, str]]:
    """The catalogue: category, where it stands in the standard, what it is."""
    rows = details.catalogue()
    told = [(row.id, f"{row['category']:g} MPa, {row['reference']}: {row['description']}"[:110]) for row in rows]
    return [("", "not known"), *told]


def _form_field(target: str, name: str) -> forms.Field:
    column = FIELDS[target][name].column
    assert column is not None  # only fields of a table are offered here
    help_text = HELP.get(name, column.help_text)
    common: dict[str, Any] = {"label": _label(name), "required": (target, name) in NEEDED, "help_text": help_text}
    kind = column.get_internal_type()
    if name == "detail":
        return forms.ChoiceField(choices=_details, **{**common, "help_text": ""})
    if column.choices:
        choices = list(column.flatchoices)
        if common["required"] or column.has_default():
            common["required"] = True
        else:
            choices = [("", "not known"), *choices]
        return forms.ChoiceField(choices=choices, initial=column.get_default(), **common)
    if kind == "BooleanField":
        return forms.BooleanField(initial=column.get_default(), **common)
    if kind == "DateField":
        return forms.DateField(widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"), **common)
    if kind == "TextField":
        return forms.CharField(widget=forms.Textarea(attrs={"rows": 3}), **common)
    attrs = {"autocomplete": "off"}
    if kind in ("FloatField", "PositiveIntegerField", "DecimalField") and not name.endswith(("_mm", "_mpa", "_kn")):
        attrs["inputmode"] = "decimal"
    initial = column.get_default() if column.has_default() and kind == "CharField" else None
    return forms.CharField(widget=forms.TextInput(attrs=attrs), initial=initial, **common)


def shown(value: Any) -> Any:
    """A value as it would be typed."""
    if isinstance(value, float):
        return f"{value:.12g}"
    if isinstance(value, list):
        return "; ".join(f"{x:g} {y:g}" for x, y in value)
    return value


class AssetForm(forms.Form):
    """An asset; a new one also says at which site."""

    def __init__(self, *args: Any, sites: Any = None, asset: Asset | None = None, **more: Any) -> None:
        if asset is not None:
            more["initial"] = {name: shown(getattr(asset, name)) for name in ASSET_FIELDS}
        super().__init__(*args, **more)
        if sites is not None:
            self.fields["site"] = forms.ModelChoiceField(Site.objects.filter(pk__in=sites), empty_label=None)
        for name in ASSET_FIELDS:
            self.fields[name] = _form_field("asset", name)


class JointForm(forms.Form):
    """A joint with the fields of its kind; those of the steel are called ``weld.leg_mm`` or ``bolt_group.size``."""

    def __init__(self, *args: Any, asset: Asset, kind: str, joint: Joint | None = None, **more: Any) -> None:
        self.kind, self.link = kind, "weld" if kind == Joint.Kind.WELD else "bolt_group"
        target = "weld" if kind == Joint.Kind.WELD else "bolts"
        names = [name for name, field in FIELDS[target].items() if field.column is not None]
        if joint is not None:
            more["initial"] = {name: shown(getattr(joint, name)) for name in JOINT_FIELDS}
            more["initial"] |= {"member": joint.member_id, "other_member": joint.other_member_id}
            steel = getattr(joint, self.link, None)
            more["initial"] |= {f"{self.link}.{n}": shown(getattr(steel, n)) for n in names if steel is not None}
        super().__init__(*args, **more)
        for name in JOINT_FIELDS:
            self.fields[name] = _form_field("joint", name)
        for name in ("member", "other_member"):
            self.fields[name] = forms.ModelChoiceField(
                asset.members.all(), required=False, empty_label="not known", label=_label(name)
            )
        for name in names:
            self.fields[f"{self.link}.{name}"] = _form_field(target, name)
        self._keep_detail(self.initial.get(f"{self.link}.detail"))

    def _keep_detail(self, held: str | None) -> None:
        """A detail that the catalogue does not have (any more) is offered as it stands, not silently lost."""
        field = self.fields[f"{self.link}.detail"]
        assert isinstance(field, forms.ChoiceField)
        offered = _details()
        if held and held not in dict(offered):
            field.choices = [*offered, (held, f"{held} (not in the catalogue)")]

    def given(self) -> dict[str, Any]:
        """What the actions take: fields of the joint, and those of its steel as a dict of their own."""
        values: dict[str, Any] = {self.link: {}}
        for name, value in self.cleaned_data.items():
            if name.startswith(f"{self.link}."):
                values[self.link][name.partition(".")[2]] = value
            else:
                values[name] = getattr(value, "pk", value) if name in ("member", "other_member") else value
        return values

    def about_joint(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if "." not in name]

    def about_steel(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if "." in name]


class ImportForm(forms.Form):
    """A file of a register or a list, with its mapping. ``kinds``: those that the person may import somewhere."""

    kind = forms.ChoiceField(label="What the file holds")
    site = forms.ModelChoiceField(Site.objects.none(), empty_label=None)
    file = forms.FileField(label="File (CSV or XLSX)", widget=forms.FileInput(attrs={"accept": ".csv,.txt,.xlsx"}))
    mapping = forms.FileField(
        label="Mapping file", required=False, widget=forms.FileInput(attrs={"accept": ".toml,.txt"}),
        help_text="Says which column feeds which field. Without one, the headings must be named like our fields.",
    )  # fmt: skip
    dry_run = forms.BooleanField(label="Check only, write nothing yet", required=False, initial=True)

    def __init__(self, *args: Any, sites: Any, kinds: list[tuple[str, str]], **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["kind"].choices = kinds  # type: ignore[attr-defined]  # a ChoiceField
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]  # a ModelChoiceField
