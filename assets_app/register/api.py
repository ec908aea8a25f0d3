"""The API of the register, relative to /api/v1/: sites, assets, members, joints, imports."""

from __future__ import annotations

from typing import Any

import django_filters
from django.core.files.uploadedfile import UploadedFile
from django.db.models import QuerySet
from django.http import HttpResponse
from django.urls import include, path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import mixins, viewsets
from rest_framework.decorators import action
from rest_framework.parsers import MultiPartParser
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import DefaultRouter
from rest_framework.views import APIView

from assets_app.doors.idempotency import once
from assets_app.people.models import Person
from assets_app.people.queries import BY_ASSET, BY_SITE, require, require_first
from assets_app.refusals import NotFound, Unprocessable
from assets_app.register import actions, importer, lists, queries
from assets_app.register import serializers as shapes
from assets_app.register.models import Asset, Joint, Member, RegisterImport, Site
from assets_app.register.serializers import checked

CHANGE = "register.change"


class _Listed(mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet):
    """Reads limited to the person's sites; ``in_sight`` names the query."""

    in_sight: Any

    def get_queryset(self) -> QuerySet:
        if getattr(self, "swagger_fake_view", False):
            return self.queryset.none()
        return type(self).in_sight(self.request.user)


class SiteViews(_Listed):
    """The sites at which you have a role."""

    queryset = Site.objects.none()
    in_sight = staticmethod(queries.sites_in_sight)
    serializer_class = shapes.SiteSerializer
    filterset_fields = ["slug"]


class AssetViews(_Listed):
    """Rides, trailers, lifts, cranes and structures."""

    queryset = Asset.objects.none()
    in_sight = staticmethod(queries.assets_in_sight)
    serializer_class = shapes.AssetSerializer
    filterset_fields = ["site", "tag", "kind", "status", "consequence"]

    @extend_schema(request=shapes.AssetInput, responses={201: shapes.AssetSerializer})
    def create(self, request: Request) -> Response:
        require_first(request.user, CHANGE, request.data, BY_SITE)
        given = checked(shapes.AssetInput, request.data)

        def deed() -> tuple[int, dict[str, Any]]:
            site_id = given.pop("site")
            made = actions.create_asset(site_id=site_id, actor=request.user, now=timezone.now(), **given)
            return 201, dict(shapes.AssetSerializer(made).data)

        return once(request, deed)

    @extend_schema(request=shapes.AssetChange, responses=shapes.AssetSerializer)
    def partial_update(self, request: Request, pk: str) -> Response:
        """Change the given fields; the due dates of its joints follow."""
        asset = self.get_object()
        require(request.user, CHANGE, asset.site_id)
        given = checked(shapes.AssetChange, request.data, partial=True)

        def deed() -> tuple[int, dict[str, Any]]:
            changed = actions.change_asset(asset_id=asset.pk, actor=request.user, now=timezone.now(), **given)
            return 200, dict(shapes.AssetSerializer(changed).data)

        return once(request, deed)


class MemberViews(_Listed):
    """Pieces of steel between joints."""

    queryset = Member.objects.none()
    in_sight = staticmethod(queries.members_in_sight)
    serializer_class = shapes.MemberSerializer
    filterset_fields = ["asset", "asset__site", "tag", "steel_grade"]

    @extend_schema(request=shapes.MemberInput, responses={201: shapes.MemberSerializer})
    def create(self, request: Request) -> Response:
        require_first(request.user, CHANGE, request.data, BY_ASSET)
        given = checked(shapes.MemberInput, request.data)

        def deed() -> tuple[int, dict[str, Any]]:
            asset_id = given.pop("asset")
            made = actions.create_member(asset_id=asset_id, actor=request.user, now=timezone.now(), **given)
            return 201, dict(shapes.MemberSerializer(made).data)

        return once(request, deed)

    @extend_schema(request=shapes.MemberChange, responses=shapes.MemberSerializer)
    def partial_update(self, request: Request, pk: str) -> Response:
        """Change the given fields; the joints at it follow."""
        member = self.get_object()
        require(request.user, CHANGE, member.asset.site_id)
        given = checked(shapes.MemberChange, request.data, partial=True)

        def deed() -> tuple[int, dict[str, Any]]:
            changed = actions.change_member(member_id=member.pk, actor=request.user, now=timezone.now(), **given)
            return 200, dict(shapes.MemberSerializer(changed).data)

        return once(request, deed)


class JointFilter(django_filters.FilterSet):
    site = django_filters.NumberFilter("asset__site")
    has_detail = django_filters.BooleanFilter(method="with_detail", label="a detail of the catalogue is given")

    class Meta:
        model = Joint
        fields = ["asset", "tag", "kind", "load_path", "access", "active", "member"]

    def with_detail(self, rows: QuerySet[Joint], name: str, value: bool) -> QuerySet[Joint]:
        known = rows.exclude(weld__detail="", bolt_group=None).exclude(bolt_group__detail="", weld=None)
        return known if value else rows.exclude(pk__in=known.values("pk"))


class JointViews(_Listed):
    """Welded and bolted joints, each with its weld or its bolts. Lengths in mm, or as text with a unit."""

    queryset = Joint.objects.none()
    in_sight = staticmethod(queries.joints_in_sight)
    serializer_class = shapes.JointSerializer
    filterset_class = JointFilter

    @extend_schema(request=shapes.JointInput, responses={201: shapes.JointSerializer})
    def create(self, request: Request) -> Response:
        require_first(request.user, CHANGE, request.data, BY_ASSET)
        given = checked(shapes.JointInput, request.data)

        def deed() -> tuple[int, dict[str, Any]]:
            asset_id = given.pop("asset")
            made = actions.create_joint(asset_id=asset_id, actor=request.user, now=timezone.now(), **given)
            return 201, _joint(request.user, made.pk)

        return once(request, deed)

    @extend_schema(request=shapes.JointChange, responses=shapes.JointSerializer)
    def partial_update(self, request: Request, pk: str) -> Response:
        """Change the given fields of the joint, its weld or its bolts; its due dates follow."""
        joint = self.get_object()
        require(request.user, CHANGE, joint.asset.site_id)
        given = checked(shapes.JointChange, request.data, partial=True)

        def deed() -> tuple[int, dict[str, Any]]:
            actions.change_joint(joint_id=joint.pk, actor=request.user, now=timezone.now(), **given)
            return 200, _joint(request.user, joint.pk)

        return once(request, deed)


def _joint(person: Person, pk: int) -> dict[str, Any]:
    return dict(shapes.JointSerializer(queries.one(queries.joints_in_sight(person), pk)).data)


class ImportViews(_Listed):
    """Files of a register, of certificates or of counters: sent, checked row by row, written whole or not at all."""

    queryset = RegisterImport.objects.none()
    in_sight = staticmethod(queries.imports_in_sight)
    filterset_fields = ["site", "kind", "state", "dry_run"]

    def get_serializer_class(self) -> type[shapes.ImportListed]:
        return shapes.ImportSerializer if self.action == "retrieve" else shapes.ImportListed

    def get_parsers(self) -> list[Any]:
        return [MultiPartParser()] if getattr(self, "action_map", {}).get("post") == "create" else super().get_parsers()

    @extend_schema(request={"multipart/form-data": shapes.ImportInput}, responses={202: shapes.ImportListed})
    def create(self, request: Request) -> Response:
        """Send a file. Ask for the import again to see how far it is and what it found."""
        require_first(request.user, lists.right_to_send(request.data), request.data, BY_SITE)
        given = checked(shapes.ImportInput, request.data)

        def deed() -> tuple[int, dict[str, Any]]:
            row = importer.start_import(
                site_id=given["site"],
                kind=given["kind"],
                file=given["file"],
                mapping=mapping_text(given.get("mapping")),
                dry_run=given["dry_run"],
                actor=request.user,
                now=timezone.now(),
            )
            return 202, dict(shapes.ImportListed(row).data)

        return once(request, deed)

    @extend_schema(request=None, responses={202: shapes.ImportListed})
    @action(detail=True, methods=["post"])
    def write(self, request: Request, pk: str) -> Response:
        """Write what a dry run found clean."""
        checked_one = self.get_object()

        def deed() -> tuple[int, dict[str, Any]]:
            row = importer.write_checked(import_id=checked_one.pk, actor=request.user, now=timezone.now())
            return 202, dict(shapes.ImportListed(row).data)

        return once(request, deed)


class CsvRenderer(JSONRenderer):
    """What is rendered at all is a refusal; the file itself goes out as it is."""

    media_type = "text/csv"
    format = "csv"


class ImportTemplate(APIView):
    renderer_classes = [CsvRenderer, JSONRenderer]

    @extend_schema(
        responses={(200, "text/csv"): OpenApiResponse(OpenApiTypes.BINARY)},
        operation_id="imports_template",
        summary="An empty file of one kind: the headings that need no mapping",
    )
    def get(self, request: Request, kind: str) -> HttpResponse:
        return template_answer(kind)


def template_answer(kind: str) -> HttpResponse:
    """The empty file to fill in; pages and API give the same one."""
    if kind not in lists.rights():
        raise NotFound("not_found", f"There is no such file; there is one of {', '.join(lists.rights())}.")
    answer = HttpResponse(lists.template(kind), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{kind}.csv"'
    return answer


def mapping_text(file: UploadedFile | None) -> str:
    """The text of a mapping file; none is an empty mapping."""
    if file is None:
        return ""
    content = file.read(importer.LONGEST_MAPPING * 4 + 1)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Unprocessable("mapping_wrong", "The mapping is no text in UTF-8.", field="mapping") from error


router = DefaultRouter()
router.include_root_view = False
router.register("sites", SiteViews, basename="api-site")
router.register("assets", AssetViews, basename="api-asset")
router.register("members", MemberViews, basename="api-member")
router.register("joints", JointViews, basename="api-joint")
router.register("imports", ImportViews, basename="api-import")

urlpatterns = [
    path("imports/templates/<slug:kind>.csv", ImportTemplate.as_view(), name="api-import-template"),
    path("", include(router.urls)),
]
