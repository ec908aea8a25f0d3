"""A token for each device, by name and password."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import authenticate
from django.db import transaction
from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from knox.models import AuthToken
from rest_framework import mixins, serializers, viewsets
from rest_framework.permissions import AllowAny, IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from assets_app.people.actions import locked_person
from assets_app.people.models import DeviceToken
from assets_app.refusals import Conflict, NotAllowed

MOST_TOKENS = 20


class SignIn(serializers.Serializer):
    username = serializers.CharField(max_length=150)
    password = serializers.CharField(max_length=256, trim_whitespace=False, write_only=True)
    name = serializers.CharField(max_length=80, help_text="of the device, so that you know which one to revoke")


class TokenSerializer(serializers.ModelSerializer):
    """A token as listed: never the secret itself."""

    created = serializers.DateTimeField(source="token.created", read_only=True)

    class Meta:
        model = DeviceToken
        fields = ("id", "name", "created")


class NewToken(TokenSerializer):
    """The one time that the secret is told. Send it as ``Authorization: Token SECRET``."""

    secret = serializers.CharField(read_only=True)

    class Meta(TokenSerializer.Meta):
        fields = (*TokenSerializer.Meta.fields, "secret")


class TokenViewSet(mixins.ListModelMixin, viewsets.GenericViewSet):
    """One token for each device, stored as a hash; signing in wrongly too often locks for a while."""

    queryset = DeviceToken.objects.none()
    serializer_class = TokenSerializer

    def get_queryset(self) -> QuerySet[DeviceToken]:
        if getattr(self, "swagger_fake_view", False):
            return self.queryset
        return DeviceToken.objects.filter(token__user=self.request.user).select_related("token")

    def get_permissions(self) -> list[Any]:
        return [AllowAny()] if self.action == "create" else [IsAuthenticated()]

    def get_authenticators(self) -> list[Any]:
        # A request for a token brings its own name and password; an old token or session beside it means nothing.
        if self.request is not None and self.request.method == "POST" and not self.detail:
            return []
        return super().get_authenticators()

    @extend_schema(request=SignIn, responses={201: NewToken}, auth=[], summary="Get a token for a device")
    def create(self, request: Request) -> Response:
        told = SignIn(data=request.data)
        told.is_valid(raise_exception=True)
        facts = told.validated_data
        person = authenticate(request._request, username=facts["username"], password=facts["password"])
        wrong = NotAllowed("wrong_sign_in", "Name or password is wrong, or there were too many tries.")
        if person is None:
            raise wrong
        with transaction.atomic():
            now = locked_person(person.pk)
            if not now.is_active or now.password != person.password:  # shut or changed in this very moment
                raise wrong
            if DeviceToken.objects.filter(token__user=person).count() >= MOST_TOKENS:
                raise Conflict("too_many_tokens", f"You have {MOST_TOKENS} tokens; revoke one first.")
            token, secret = AuthToken.objects.create(user=person)
            device = DeviceToken.objects.create(token=token, name=facts["name"])
        return Response({**TokenSerializer(device).data, "secret": secret}, status=201)

    @extend_schema(responses={204: None}, summary="Revoke a token")
    def destroy(self, request: Request, pk: str) -> Response:
        self.get_object().token.delete()
        return Response(status=204)
