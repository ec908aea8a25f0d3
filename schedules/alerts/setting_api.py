"""The API of rules, webhooks, my settings and my calendar links, relative to /api/v1/."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from assets_app.doors.idempotency import once
from assets_app.people.models import RoleName
from assets_app.people.queries import BY_SITE, Named, require_first, sites_of
from schedules.alerts import queries, setting_actions, webhook_actions
from schedules.alerts.models import AlertRule, AlertSettings, CalendarLink, Intent, WebhookEndpoint

LARGEST_ID = 2**63 - 1
BY_ENDPOINT = Named("endpoint", WebhookEndpoint.objects, "site_id")


class RuleOut(serializers.ModelSerializer):
    class Meta:
        model = AlertRule
        fields = ["id", "site", *setting_actions.RULE_FIELDS, "reason", "set_by", "set_at"]


class RuleIn(serializers.Serializer):
    site = serializers.IntegerField(min_value=1, max_value=LARGEST_ID)
    kind = serializers.ChoiceField(Intent.Kind.choices)
    role = serializers.ChoiceField(
        [("", "all"), *RoleName.choices], required=False, default="", help_text="left out: the kind's lead time"
    )
    in_app = serializers.BooleanField(default=True)
    email = serializers.BooleanField(default=True)
    is_on = serializers.BooleanField(default=True)
    days = serializers.IntegerField(required=False, allow_null=True, default=None)
    reason = serializers.CharField(max_length=1000)


class Rules(generics.ListAPIView):
    """The rules that were set at your sites, the newest first: of each site, kind and role the first one governs."""

    serializer_class = RuleOut
    filterset_fields = ("site", "kind", "role")
    queryset = AlertRule.objects.all()

    def get_queryset(self) -> Any:
        return queries.rule_history(self.request.user)

    @extend_schema(request=RuleIn, responses={201: RuleOut})
    def post(self, request: Request) -> Response:
        """Set who hears of a kind of alert, or its lead time."""
        require_first(request.user, "people.change", request.data, BY_SITE)
        told = _valid(RuleIn, request)
        site_id = told.pop("site")

        def deed() -> tuple[int, dict[str, Any]]:
            rule = setting_actions.set_rule(site_id=site_id, actor=request.user, now=timezone.now(), **told)
            return 201, dict(RuleOut(rule).data)

        return once(request, deed)


class StandingOut(serializers.Serializer):
    """By which channels a role hears of a kind at a site."""

    site = serializers.IntegerField()
    kind = serializers.CharField()
    lead_days = serializers.IntegerField(allow_null=True, help_text="days before, for all roles")
    role = serializers.CharField()
    in_app = serializers.BooleanField()
    email = serializers.BooleanField()
    days = serializers.IntegerField(allow_null=True, help_text="an escalation's step: overdue for so long")
    is_own = serializers.BooleanField(help_text="set by the site; else as shipped")


class Standing(APIView):
    @extend_schema(responses=StandingOut(many=True))
    def get(self, request: Request) -> Response:
        """Who hears of what at your sites as it stands now, where no rule was set too."""
        rows = [
            {"site": site.pk, "kind": row.kind, "lead_days": row.lead_days, "role": role, **asdict(hears)}
            for site in sites_of(request.user)
            for row in queries.rules_of(site)
            for role, hears in row.hears
        ]
        return Response(StandingOut(rows, many=True).data)


class WebhookOut(serializers.ModelSerializer):
    """A receiver as listed: never its secret."""

    kinds = serializers.ListField(child=serializers.ChoiceField(Intent.Kind.choices))
    owed = serializers.IntegerField(read_only=True)
    given_up = serializers.IntegerField(read_only=True)

    class Meta:
        model = WebhookEndpoint
        fields = ["id", "site", "url", "kinds", "is_on", "made_at", "failures", "next_try_at", "owed", "given_up"]


class NewWebhook(serializers.Serializer):
    """The one time that the secret is told. It signs each message by the Standard Webhooks scheme."""

    id = serializers.IntegerField()
    url = serializers.CharField()
    secret = serializers.CharField()


class WebhookIn(serializers.Serializer):
    site = serializers.IntegerField(min_value=1, max_value=LARGEST_ID)
    url = serializers.CharField(max_length=webhook_actions.LONGEST_URL)
    kinds = serializers.ListField(
        child=serializers.ChoiceField(Intent.Kind.choices), required=False, default=list, help_text="empty: all"
    )


class WebhookChange(serializers.Serializer):
    url = serializers.CharField(max_length=webhook_actions.LONGEST_URL, required=False)
    kinds = serializers.ListField(child=serializers.ChoiceField(Intent.Kind.choices), required=False)
    is_on = serializers.BooleanField(required=False)


class Webhooks(generics.ListAPIView):
    """The receivers of the sites that you manage."""

    serializer_class = WebhookOut
    filterset_fields = ("site",)
    queryset = WebhookEndpoint.objects.all()

    def get_queryset(self) -> Any:
        return queries.endpoints_of(self.request.user)

    @extend_schema(request=WebhookIn, responses={201: NewWebhook})
    def post(self, request: Request) -> Response:
        """Set up a receiver. The secret is in the first answer only, not in a repeat under the same Idempotency-Key."""
        require_first(request.user, "people.change", request.data, BY_SITE)
        told = _valid(WebhookIn, request)
        webhook_actions.check_address(url=told["url"], site_id=told["site"], actor=request.user)
        secret = ""

        def deed() -> tuple[int, dict[str, Any]]:
            nonlocal secret
            made = webhook_actions.make_endpoint(
                site_id=told["site"], url=told["url"], kinds=told["kinds"], actor=request.user, now=timezone.now()
            )
            secret = made.secret
            return 201, {"id": made.pk, "url": made.url}

        return _with_secret(once(request, deed), secret=secret)


class Webhook(APIView):
    @extend_schema(request=WebhookChange, responses=WebhookOut)
    def patch(self, request: Request, endpoint_id: int) -> Response:
        """Change where it goes, what it is told, or switch it on and off."""
        require_first(request.user, "people.change", {"endpoint": endpoint_id}, BY_ENDPOINT)
        told = _valid(WebhookChange, request)
        if "url" in told:
            site_id = WebhookEndpoint.objects.get(pk=endpoint_id).site_id
            webhook_actions.check_address(url=told["url"], site_id=site_id, actor=request.user)

        def deed() -> tuple[int, dict[str, Any]]:
            webhook_actions.change_endpoint(endpoint_id=endpoint_id, actor=request.user, now=timezone.now(), **told)
            row = queries.endpoints_of(request.user).get(pk=endpoint_id)
            return 200, dict(WebhookOut(row).data)

        return once(request, deed)


class Again(serializers.Serializer):
    owed = serializers.IntegerField(help_text="messages that are tried again")


class WebhookAgain(APIView):
    @extend_schema(request=None, responses=Again)
    def post(self, request: Request, endpoint_id: int) -> Response:
        """Post what was given up once more, under the same ids."""

        def deed() -> tuple[int, dict[str, Any]]:
            count = webhook_actions.post_again(endpoint_id=endpoint_id, actor=request.user, now=timezone.now())
            return 200, {"owed": count}

        return once(request, deed)


class SettingsShape(serializers.Serializer):
    """When emails reach you. A hold that is placed waits for neither quiet hours nor the digest."""

    time_zone = serializers.CharField(
        max_length=64, required=False, allow_blank=True, default="", help_text="IANA name; empty: the site's"
    )
    quiet_from = serializers.TimeField(required=False, allow_null=True, default=None)
    quiet_until = serializers.TimeField(required=False, allow_null=True, default=None)
    digest = serializers.ChoiceField(AlertSettings.Digest.choices, required=False, default="at once")
    digest_hour = serializers.IntegerField(min_value=0, max_value=23, required=False, default=7)


class Settings(APIView):
    @extend_schema(responses=SettingsShape)
    def get(self, request: Request) -> Response:
        """My settings."""
        return Response(SettingsShape(setting_actions.shown(queries.settings_of(request.user))).data)

    @extend_schema(request=SettingsShape, responses=SettingsShape)
    def put(self, request: Request) -> Response:
        """Set them all; what is left out falls back to its default."""
        told = _valid(SettingsShape, request)

        def deed() -> tuple[int, dict[str, Any]]:
            row = setting_actions.set_settings(actor=request.user, now=timezone.now(), **told)
            return 200, dict(SettingsShape(setting_actions.shown(row)).data)

        return once(request, deed)


class LinkOut(serializers.ModelSerializer):
    class Meta:
        model = CalendarLink
        fields = ["id", "made_at"]


class NewLink(serializers.Serializer):
    """The one time that the address is told."""

    id = serializers.IntegerField()
    url = serializers.CharField()


class Links(generics.ListAPIView):
    """My calendar links."""

    serializer_class = LinkOut
    queryset = CalendarLink.objects.all()

    def get_queryset(self) -> Any:
        return queries.links_of(self.request.user)

    @extend_schema(request=None, responses={201: NewLink})
    def post(self, request: Request) -> Response:
        """Make a private link to my calendar feed."""
        url = ""

        def deed() -> tuple[int, dict[str, Any]]:
            nonlocal url
            link, token = setting_actions.make_calendar_link(actor=request.user, now=timezone.now())
            url = request.build_absolute_uri(f"/calendar/{token}.ics")
            return 201, {"id": link.pk}

        return _with_secret(once(request, deed), url=url)


class Link(APIView):
    @extend_schema(responses={204: None})
    def delete(self, request: Request, link_id: int) -> Response:
        """Revoke a link of mine."""
        setting_actions.revoke_calendar_link(actor=request.user, now=timezone.now(), link_id=link_id)
        return Response(status=204)


def _valid(shape: type[serializers.Serializer], request: Request) -> dict[str, Any]:
    given = shape(data=request.data)
    given.is_valid(raise_exception=True)
    return dict(given.validated_data)


def _with_secret(answer: Response, **secret: str) -> Response:
    """Put the secret into the first answer only: the stored copy that a repeat gets has none."""
    answer.data = {**answer.data, **{name: value for name, value in secret.items() if value}}
    return answer


urlpatterns = [
    path("alert-rules/", Rules.as_view(), name="api-alert-rules"),
    path("alert-rules/standing/", Standing.as_view(), name="api-alert-rules-standing"),
    path("webhooks/", Webhooks.as_view(), name="api-webhooks"),
    path("webhooks/<int:endpoint_id>/", Webhook.as_view(), name="api-webhook"),
    path("webhooks/<int:endpoint_id>/again/", WebhookAgain.as_view(), name="api-webhook-again"),
    path("alert-settings/", Settings.as_view(), name="api-alert-settings"),
    path("calendar-links/", Links.as_view(), name="api-calendar-links"),
    path("calendar-links/<int:link_id>/", Link.as_view(), name="api-calendar-link"),
]
