"""What the page at the steel asks for: who is signed in, the bundle, small photos; and what it sends of a joint whose
tags somebody typed. Relative to /api/v1/."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from django.http import HttpResponse
from django.middleware.csrf import get_token
from django.urls import path
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views.decorators.gzip import gzip_page
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.encoders import JSONEncoder
from rest_framework.views import APIView

from assets_app.doors.idempotency import once
from assets_app.inspections.actions import record_inspection, right_to_look
from assets_app.inspections.serializers import InspectionReport, InspectionSerializer, finding_inputs
from assets_app.people.queries import BY_SITE, require_first
from assets_app.refusals import NotFound
from schedules.work import actions
from schedules.work.hold_api import HoldOut
from schedules.work.steel import queries, small_photo, tagged


class SteelPersonOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    now = serializers.DateTimeField(help_text="by the server's clock")
    csrf = serializers.CharField(help_text="for the header X-CSRFToken of writes that come with the session's cookie")


class Who(APIView):
    @extend_schema(responses=SteelPersonOut, operation_id="steel_who")
    def get(self, request: Request) -> Response:
        """Who is signed in: a device sends only what this person did on it."""
        told = {"id": request.user.pk, "name": request.user.display_name, "now": timezone.now()}
        return Response({**told, "csrf": get_token(request)}, headers={"Cache-Control": "no-store"})


@method_decorator(gzip_page, name="dispatch")
class Bundle(APIView):
    @extend_schema(responses={200: OpenApiTypes.OBJECT, 304: None}, operation_id="steel_bundle")
    def get(self, request: Request) -> HttpResponse:
        """My orders with everything they need, to take along. With its ETag, 304 when nothing changed."""
        told: dict[str, Any] = queries.bundle(request.user, now=timezone.now())
        body = json.dumps(told, cls=JSONEncoder, separators=(",", ":")).encode()
        # Weak: the same bundle goes out packed in more than one way.
        etag = f'W/"{hashlib.sha256(body).hexdigest()[:32]}"'
        kept = {"ETag": etag, "Cache-Control": "private, no-cache", "Vary": "Cookie, Authorization"}
        if request.headers.get("If-None-Match") == etag:
            return HttpResponse(status=304, headers=kept)
        return HttpResponse(body, content_type="application/json", headers=kept)


class SmallJpeg(JSONRenderer):
    """What is rendered at all is a refusal; the photo itself goes out as it is."""

    media_type = "image/jpeg"
    format = "jpg"


class SmallPhoto(APIView):
    renderer_classes = [SmallJpeg, JSONRenderer]

    @extend_schema(
        responses={(200, "image/jpeg"): OpenApiResponse(OpenApiTypes.BINARY)}, operation_id="steel_small_photo"
    )
    def get(self, request: Request, evidence: int) -> HttpResponse:
        """A past photo, small enough to take along."""
        row = queries.small_photos(request.user).filter(pk=evidence).first()
        if row is None:
            raise NotFound("not_found", "There is nothing here that you can see.")
        response = HttpResponse(small_photo.of(row), content_type="image/jpeg")
        response["Cache-Control"] = "private, max-age=86400, immutable"
        return response


class TaggedHoldIn(serializers.Serializer):
    """What is held, by the tags as they stand on the steel; without a joint's tag the whole asset."""

    site = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    asset_tag = serializers.CharField(max_length=64)
    joint_tag = serializers.CharField(max_length=64, required=False, allow_blank=True, default="")
    reason = serializers.CharField()


class TaggedHold(APIView):
    @extend_schema(request=TaggedHoldIn, responses={201: HoldOut}, operation_id="steel_hold_by_tag")
    def post(self, request: Request) -> Response:
        """Place a hold on what was typed by its tag. An unknown tag is refused (``tag_unknown``), never guessed."""
        require_first(request.user, "hold.place", request.data, BY_SITE)
        told = _valid(TaggedHoldIn, request)

        def deed() -> tuple[int, dict[str, Any]]:
            where = {"site_id": told["site"], "asset_tag": told["asset_tag"]}
            if told["joint_tag"]:
                held = {"joint_id": tagged.joint_by(request.user, joint_tag=told["joint_tag"], **where).pk}
            else:
                held = {"asset_id": tagged.asset_by(request.user, **where).pk}
            hold = actions.place_hold(reason=told["reason"], actor=request.user, now=timezone.now(), **held)
            return 201, dict(HoldOut(hold).data)

        return once(request, deed)


class TaggedLookIn(InspectionReport):
    """A look at a joint that is named by the tags as they stand on the steel."""

    joint = None
    site = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    asset_tag = serializers.CharField(max_length=64)
    joint_tag = serializers.CharField(max_length=64)


class TaggedLook(APIView):
    @extend_schema(request=TaggedLookIn, responses={201: InspectionSerializer}, operation_id="steel_look_by_tag")
    def post(self, request: Request) -> Response:
        """Record a look at a joint typed by its tags. An unknown one is refused (``tag_unknown``), never guessed."""
        require_first(request.user, right_to_look(request.data), request.data, BY_SITE)
        told = _valid(TaggedLookIn, request)
        where = {"site_id": told.pop("site"), "asset_tag": told.pop("asset_tag"), "joint_tag": told.pop("joint_tag")}
        told["findings"] = finding_inputs(told["findings"])

        def deed() -> tuple[int, dict[str, Any]]:
            joint = tagged.joint_by(request.user, **where)
            look = record_inspection(joint_id=joint.pk, actor=request.user, now=timezone.now(), **told)
            return 201, dict(InspectionSerializer(look).data)

        return once(request, deed)


def _valid(shape: type[serializers.Serializer], request: Request) -> dict[str, Any]:
    given = shape(data=request.data)
    given.is_valid(raise_exception=True)
    return dict(given.validated_data)


urlpatterns = [
    path("steel/holds/", TaggedHold.as_view(), name="api-steel-hold"),
    path("steel/looks/", TaggedLook.as_view(), name="api-steel-look"),
    path("steel/who/", Who.as_view(), name="api-steel-who"),
    path("steel/bundle/", Bundle.as_view(), name="api-steel-bundle"),
    path("steel/photos/<int:evidence>.jpg", SmallPhoto.as_view(), name="api-steel-photo"),
]
