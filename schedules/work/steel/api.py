"""What the page at the steel asks for: who is signed in, the bundle, small photos. Relative to /api/v1/."""

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

from assets_app.refusals import NotFound
from schedules.work.steel import queries, small_photo


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


urlpatterns = [
    path("steel/who/", Who.as_view(), name="api-steel-who"),
    path("steel/bundle/", Bundle.as_view(), name="api-steel-bundle"),
    path("steel/photos/<int:evidence>.jpg", SmallPhoto.as_view(), name="api-steel-photo"),
]
