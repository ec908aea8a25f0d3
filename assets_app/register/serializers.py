"""Shapes of the register in the API. They check form; the actions decide."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from assets_app.register.columns import FIELDS
from assets_app.register.models import Asset, BoltGroup, Joint, Member, RegisterImport, Site, Weld

ASSET_FIELDS, MEMBER_FIELDS, JOINT_FIELDS = tuple(FIELDS["asset"]), tuple(FIELDS["member"]), tuple(FIELDS["joint"])
WELD_FIELDS, BOLT_FIELDS = tuple(FIELDS["weld"]), tuple(FIELDS["bolts"])


@extend_schema_field({"oneOf": [{"type": "number"}, {"type": "string"}], "nullable": True})
class Quantity(serializers.Field):
    """A number in the field's own unit, or text with a unit: ``9.5`` or ``"3/8 in"``."""

    default_error_messages = {"invalid": "Give a number, or text with a unit such as 3/8 in."}

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, bool) or not isinstance(data, int | float | str):
            self.fail("invalid")
        return data if isinstance(data, str) else float(data)

    def to_representation(self, value: Any) -> Any:
        return value


class SiteSerializer(serializers.ModelSerializer):
    class Meta:
        model = Site
        fields = ["id", "slug", "name", "time_zone", "units"]


class AssetSerializer(serializers.ModelSerializer):
    class Meta:
        model = Asset
        fields = ["id", "site", *ASSET_FIELDS]


class MemberSerializer(serializers.ModelSerializer):
    class Meta:
        model = Member
        fields = ["id", "asset", *MEMBER_FIELDS]


class WeldSerializer(serializers.ModelSerializer):
    class Meta:
        model = Weld
        fields = WELD_FIELDS


class BoltGroupSerializer(serializers.ModelSerializer):
    class Meta:
        model = BoltGroup
        fields = BOLT_FIELDS


class JointSerializer(serializers.ModelSerializer):
    weld = WeldSerializer(read_only=True, allow_null=True)
    bolt_group = BoltGroupSerializer(read_only=True, allow_null=True)

    class Meta:
        model = Joint
        fields = ["id", "asset", *JOINT_FIELDS, "weld", "bolt_group"]


class _Given(serializers.ModelSerializer):
    """Only what is given is changed; quantities may carry their unit."""

    def build_standard_field(self, field_name: str, model_field: Any) -> tuple[Any, dict[str, Any]]:
        if field_name.endswith(("_mm", "_mpa", "_kn")):
            return Quantity, {"required": False, "allow_null": True, "help_text": model_field.help_text}
        made, options = super().build_standard_field(field_name, model_field)
        if model_field.has_default():
            options["required"] = False
        return made, options

    def get_unique_together_validators(self) -> list[Any]:
        return []  # the actions decide


class AssetInput(_Given):
    site = serializers.IntegerField()

    class Meta:
        model = Asset
        fields = ["site", *ASSET_FIELDS]


class AssetChange(_Given):
    class Meta:
        model = Asset
        fields = ASSET_FIELDS


class MemberInput(_Given):
    asset = serializers.IntegerField()

    class Meta:
        model = Member
        fields = ["asset", *MEMBER_FIELDS]


class MemberChange(_Given):
    class Meta:
        model = Member
        fields = MEMBER_FIELDS


class WeldInput(_Given):
    class Meta:
        model = Weld
        fields = WELD_FIELDS


class BoltGroupInput(_Given):
    class Meta:
        model = BoltGroup
        fields = BOLT_FIELDS


class JointChange(_Given):
    member = serializers.IntegerField(required=False, allow_null=True)
    other_member = serializers.IntegerField(required=False, allow_null=True)
    weld = WeldInput(required=False, allow_null=True)
    bolt_group = BoltGroupInput(required=False, allow_null=True)

    class Meta:
        model = Joint
        fields = [*JOINT_FIELDS, "weld", "bolt_group"]


class JointInput(JointChange):
    asset = serializers.IntegerField()

    class Meta:
        model = Joint
        fields = ["asset", *JOINT_FIELDS, "weld", "bolt_group"]


class ImportInput(serializers.Serializer):
    site = serializers.IntegerField()
    kind = serializers.ChoiceField(RegisterImport.Kind.choices, default="register", help_text="what the file holds")
    file = serializers.FileField(help_text="CSV or XLSX")
    mapping = serializers.FileField(required=False, help_text="mapping file (TOML); see docs/import.md")
    dry_run = serializers.BooleanField(default=True)


class ImportSerializer(serializers.ModelSerializer):
    report = serializers.DictField(
        read_only=True, help_text="counts, notes, errors and warnings, each with row, column, value, what, do"
    )

    class Meta:
        model = RegisterImport
        fields = [
            *(
                "id",
                "site",
                "kind",
                "file_name",
                "file_sha256",
                "dry_run",
                "state",
                "rows_total",
                "rows_done",
                "report",
            ),
            *("started_by", "started_at", "ended_at"),
        ]


class ImportListed(ImportSerializer):
    """Without the report, which may be long."""

    class Meta(ImportSerializer.Meta):
        fields = [name for name in ImportSerializer.Meta.fields if name != "report"]


def checked(shape: type[serializers.Serializer], data: Any, *, partial: bool = False) -> dict[str, Any]:
    """The given data in its shape, or DRF's ``ValidationError``."""
    form = shape(data=data, partial=partial)
    form.is_valid(raise_exception=True)
    return dict(form.validated_data)
