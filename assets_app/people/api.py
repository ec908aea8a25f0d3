"""Who am I, who are my colleagues, what are they qualified for; their accounts."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.contrib.auth import update_session_auth_hash
from django.db.models import QuerySet
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from assets_app.doors.idempotency import once
from assets_app.people import account_actions, account_queries, actions, mail_actions, password_actions, queries
from assets_app.people.models import Person, Qualification, Role, RoleName
from assets_app.people.sign_in_links import NewLink, Way
from assets_app.people.token_api import TokenViewSet

CHANGE = "people.change"


HAND_OVER = (
    "mail: to the person's address, and told to nobody else; show: told in the answer, this once, to be handed over, "
    "and the person is told so by mail"
)


class RoleSerializer(serializers.ModelSerializer):
    class Meta:
        model = Role
        fields = ("site", "name", "release_authority")


class QualificationSerializer(serializers.ModelSerializer):
    class Meta:
        model = Qualification
        fields = (
            *("id", "person", "kind", "method", "level", "process", "welding_position", "certificate"),
            *("issued_on", "expires_on", "last_used_on"),
        )


class PersonSerializer(serializers.ModelSerializer):
    """A colleague: name, roles at the sites you share, certificates."""

    roles = serializers.SerializerMethodField()
    qualifications = QualificationSerializer(many=True, read_only=True)

    class Meta:
        model = Person
        fields = ("id", "username", "display_name", "is_active", "roles", "qualifications")
        extra_kwargs = {
            "display_name": {"read_only": True},
            "is_active": {"read_only": True, "help_text": "false: the account is shut, and the roles give no right"},
        }

    @extend_schema_field(RoleSerializer(many=True))
    def get_roles(self, person: Person) -> list[dict[str, Any]]:
        shared = self.context.get("shared_sites", set())
        return RoleSerializer([role for role in person.roles.all() if role.site_id in shared], many=True).data


class Address(serializers.Serializer):
    email = serializers.EmailField(max_length=254, help_text="where emails reach the person")


class RoleTaken(serializers.ModelSerializer):
    site = serializers.IntegerField(min_value=1, max_value=2**63 - 1)

    class Meta:
        model = Role
        fields = ("site", "name")


class RoleGone(RoleTaken):
    orders_given_back = serializers.ListField(
        child=serializers.IntegerField(), help_text="numbers of the person's orders there that nobody has now"
    )

    class Meta(RoleTaken.Meta):
        fields = (*RoleTaken.Meta.fields, "orders_given_back")


class RoleGiven(RoleTaken):
    username = serializers.CharField(max_length=150, help_text="by which the person signs in, here already or not")
    release_authority = serializers.BooleanField(default=False, help_text="may lift holds there")

    class Meta(RoleTaken.Meta):
        fields = (*RoleTaken.Meta.fields, "username", "release_authority")


class PersonGiven(serializers.Serializer):
    site = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    first_name = serializers.CharField(max_length=150)
    last_name = serializers.CharField(max_length=150, required=False, allow_blank=True, default="")
    username = serializers.CharField(max_length=150, help_text="by which the person shall sign in")
    email = serializers.CharField(
        max_length=254, required=False, allow_blank=True, default="", help_text="where mail reaches the person"
    )
    role = serializers.ChoiceField(RoleName.choices, help_text="the first one, at the site")
    hand_over = serializers.ChoiceField(Way.choices, default=Way.MAIL, help_text=HAND_OVER)


class LinkGiven(serializers.Serializer):
    hand_over = serializers.ChoiceField(Way.choices, default=Way.MAIL, help_text=HAND_OVER)


class OwnPassword(serializers.Serializer):
    current = serializers.CharField(max_length=256, trim_whitespace=False, write_only=True, help_text="as it is now")
    password = serializers.CharField(max_length=256, trim_whitespace=False, write_only=True, help_text="as it shall be")


class ShutGiven(serializers.Serializer):
    reason = serializers.CharField(max_length=200, help_text="why, for the record")


class AccountShut(serializers.Serializer):
    person = serializers.IntegerField()
    orders_given_back = serializers.ListField(
        child=serializers.IntegerField(), help_text="numbers of the person's orders that nobody has now"
    )


class LinkTold(serializers.Serializer):
    """The one time that the link is told; a repeat under the same Idempotency-Key holds none."""

    person = serializers.IntegerField()
    link = serializers.CharField(
        allow_null=True, help_text="to be handed over: sets the password once, for three days; none where it is mailed"
    )
    mail = serializers.ChoiceField(
        ["sent", "not sent", "no address"], allow_null=True, help_text="of the mail with the link, or that tells of it"
    )


class MailsTried(serializers.Serializer):
    sent = serializers.IntegerField()
    not_sent = serializers.IntegerField(help_text="tried again by itself, for a day since it was written")


class PersonViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet):
    """The people with a role at a site of yours."""

    queryset = Person.objects.none()
    serializer_class = PersonSerializer

    def get_queryset(self) -> QuerySet[Person]:
        if getattr(self, "swagger_fake_view", False):
            return self.queryset
        return queries.colleagues_of(self.request.user).prefetch_related("roles", "qualifications")

    def get_serializer_context(self) -> dict[str, Any]:
        context = super().get_serializer_context()
        if not getattr(self, "swagger_fake_view", False):
            context["shared_sites"] = set(queries.sites_of(self.request.user).values_list("pk", flat=True))
        return context

    @extend_schema(summary="Who am I")
    @action(detail=False)
    def me(self, request: Request) -> Response:
        return Response(self.get_serializer(request.user).data)

    @extend_schema(
        request=OwnPassword, responses={204: None}, summary="Change one's own password; other sessions and tokens end"
    )
    @action(detail=False, methods=["post"], url_path="me/password")
    def my_password(self, request: Request) -> Response:
        """Not by ``once``: no hash over a password is kept."""
        told = OwnPassword(data=request.data)
        told.is_valid(raise_exception=True)
        meant = {"actor": request.user, "now": timezone.now(), "request": request._request, "token": request.auth}
        person = password_actions.change_password(**told.validated_data, **meant)
        if request.auth is None:
            update_session_auth_hash(request._request, person)
        return Response(status=204)

    @extend_schema(request=PersonGiven, responses={201: LinkTold}, summary="Add a person with a first role at a site")
    def create(self, request: Request) -> Response:
        queries.require_first(request.user, "account.change", request.data, queries.BY_SITE)
        given = PersonGiven(data=request.data)
        given.is_valid(raise_exception=True)
        told = dict(given.validated_data)
        told["site_id"] = told.pop("site")
        return self._with_link(request, lambda now: account_actions.add_person(actor=request.user, now=now, **told))

    @extend_schema(request=LinkGiven, responses={201: LinkTold}, summary="Make a link for who forgot the password")
    @action(detail=True, methods=["post"], url_path="sign-in-link")
    def sign_in_link(self, request: Request, pk: str) -> Response:
        person = self.get_object()
        account_queries.require_account(request.user, person)
        told = LinkGiven(data=request.data)
        told.is_valid(raise_exception=True)
        meant = {"person_id": person.pk, "actor": request.user, **told.validated_data}
        return self._with_link(request, lambda now: account_actions.make_link(now=now, **meant))

    @extend_schema(request=ShutGiven, responses=AccountShut, summary="Shut an account: nobody signs in by it")
    @action(detail=True, methods=["post"], url_path="shut-account")
    def shut_account(self, request: Request, pk: str) -> Response:
        """Sessions, tokens and links end at once. As manager of every site of the person, never one's own."""
        person = self.get_object()
        account_queries.require_account(request.user, person)
        told = ShutGiven(data=request.data)
        told.is_valid(raise_exception=True)
        meant = {"person_id": person.pk, "actor": request.user, **told.validated_data}

        def run() -> tuple[int, dict[str, Any]]:
            freed = account_actions.shut_account(now=timezone.now(), **meant)
            return 200, {"person": person.pk, "orders_given_back": freed}

        return once(request, run)

    @extend_schema(request=None, responses=PersonSerializer, summary="Open an account that was shut")
    @action(detail=True, methods=["post"], url_path="open-account")
    def open_account(self, request: Request, pk: str) -> Response:
        person = self.get_object()

        def run() -> tuple[int, dict[str, Any]]:
            account_actions.open_account(person_id=person.pk, actor=request.user, now=timezone.now())
            return 200, dict(self.get_serializer(self.get_queryset().get(pk=person.pk)).data)

        return once(request, run)

    @extend_schema(
        request=None, responses=MailsTried, summary="Try again the mails about an account that did not go out"
    )
    @action(detail=True, methods=["post"], url_path="mails-again")
    def mails_again(self, request: Request, pk: str) -> Response:
        person = self.get_object()
        sent, unsent = mail_actions.send_again(person_id=person.pk, actor=request.user, now=timezone.now())
        return Response({"sent": sent, "not_sent": unsent})

    def _with_link(self, request: Request, deed: Callable[[datetime], NewLink]) -> Response:
        """What is kept for a repeat is kept without the link."""
        made: list[NewLink] = []

        def run() -> tuple[int, dict[str, Any]]:
            made.append(deed(timezone.now()))
            return 201, {"person": made[0].person.pk, "link": None, "mail": None}

        answer = once(request, run)
        if made:
            answer.data = {**answer.data, "link": made[0].shown, "mail": made[0].mail}
        answer["Cache-Control"] = "no-store"
        return answer

    @extend_schema(request=RoleGiven, responses=PersonSerializer, summary="Give somebody a role at a site")
    @action(detail=False, methods=["post"], url_path="give-role")
    def give_role(self, request: Request) -> Response:
        told = self._told_of_role(request, RoleGiven)
        person = queries.person_by_name(request.user, told["site_id"], told.pop("username"))

        def run() -> tuple[int, dict[str, Any]]:
            actions.grant_role(person_id=person.pk, actor=request.user, now=timezone.now(), **told)
            return 200, dict(self.get_serializer(self.get_queryset().get(pk=person.pk)).data)

        return once(request, run)

    @extend_schema(request=RoleTaken, responses=RoleGone, summary="Take a role; with the last one goes all sight")
    @action(detail=True, methods=["post"], url_path="take-role")
    def take_role(self, request: Request, pk: str) -> Response:
        person = self.get_object()
        told = self._told_of_role(request, RoleTaken)

        def run() -> tuple[int, dict[str, Any]]:
            freed = actions.take_role(person_id=person.pk, actor=request.user, now=timezone.now(), **told)
            return 200, {"site": told["site_id"], "name": told["name"], "orders_given_back": freed}

        return once(request, run)

    def _told_of_role(self, request: Request, shape: type[serializers.Serializer]) -> dict[str, Any]:
        queries.require_first(request.user, CHANGE, request.data, queries.BY_SITE)
        given = shape(data=request.data)
        given.is_valid(raise_exception=True)
        told = dict(given.validated_data)
        return {"site_id": told.pop("site"), **told}

    @extend_schema(request=Address, responses=Address, summary="Correct an email address, one's own or as manager")
    @action(detail=True, methods=["post"])
    def email(self, request: Request, pk: str) -> Response:
        person = self.get_object()
        queries.require_address(request.user, person)
        told = Address(data=request.data)
        told.is_valid(raise_exception=True)

        def deed() -> tuple[int, dict[str, Any]]:
            row = actions.correct_email(
                person_id=person.pk, actor=request.user, now=timezone.now(), **told.validated_data
            )
            return 200, dict(Address(row).data)

        return once(request, deed)


AS_MANAGER_OF = "a site of the person of which you are manager; it counts, and is recorded, at each of their sites"


class QualificationReport(serializers.ModelSerializer):
    site = serializers.IntegerField(min_value=1, max_value=2**63 - 1, help_text=AS_MANAGER_OF)
    person = serializers.IntegerField(min_value=1, max_value=2**63 - 1)

    class Meta:
        model = Qualification
        fields = (
            *("site", "person", "kind", "method", "level", "process", "welding_position", "certificate"),
            *("issued_on", "expires_on"),
        )


class _AtSite(serializers.Serializer):
    site = serializers.IntegerField(min_value=1, max_value=2**63 - 1, help_text=AS_MANAGER_OF)


class Withdrawal(_AtSite):
    ends_on = serializers.DateField(help_text="the last day on which it counts")
    reason = serializers.CharField(max_length=200)


class Continuity(_AtSite):
    used_on = serializers.DateField(help_text="a day on which the welder used the process; six months count from it")


class QualificationViewSet(mixins.ListModelMixin, viewsets.GenericViewSet):
    """Certificates of your colleagues; a manager of any site of theirs puts them on file, for all of them."""

    queryset = Qualification.objects.none()
    serializer_class = QualificationSerializer
    filterset_fields = ("person", "kind", "method")

    def get_queryset(self) -> QuerySet[Qualification]:
        if getattr(self, "swagger_fake_view", False):
            return self.queryset
        return Qualification.objects.filter(person__in=queries.colleagues_of(self.request.user).order_by())

    @extend_schema(request=QualificationReport, responses={201: QualificationSerializer})
    def create(self, request: Request) -> Response:
        queries.require_first(request.user, CHANGE, request.data, queries.BY_SITE)
        report = QualificationReport(data=request.data)
        report.is_valid(raise_exception=True)
        told = dict(report.validated_data)
        site_id, person_id = told.pop("site"), told.pop("person")

        def deed() -> tuple[int, dict[str, Any]]:
            row = actions.add_qualification(
                site_id=site_id, person_id=person_id, actor=request.user, now=timezone.now(), **told
            )
            return 201, dict(QualificationSerializer(row).data)

        return once(request, deed)

    @extend_schema(request=Withdrawal, responses=QualificationSerializer, summary="End a certificate early")
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: str) -> Response:
        return self._do(request, actions.withdraw_qualification, Withdrawal)

    @extend_schema(
        request=Continuity, responses=QualificationSerializer, summary="Confirm that a welder used a process"
    )
    @action(detail=True, methods=["post"])
    def confirm(self, request: Request, pk: str) -> Response:
        return self._do(request, actions.confirm_continuity, Continuity)

    def _do(
        self, request: Request, deed: Callable[..., Qualification], shape: type[serializers.Serializer]
    ) -> Response:
        row = self.get_object()
        queries.require_first(request.user, CHANGE, request.data, queries.BY_SITE)
        report = shape(data=request.data)
        report.is_valid(raise_exception=True)
        told = dict(report.validated_data)
        told |= {"site_id": told.pop("site"), "qualification_id": row.pk}

        def run() -> tuple[int, dict[str, Any]]:
            changed = deed(actor=request.user, now=timezone.now(), **told)
            return 200, dict(QualificationSerializer(changed).data)

        return once(request, run)


router = SimpleRouter()
router.register("people", PersonViewSet, basename="api-person")
router.register("qualifications", QualificationViewSet, basename="api-qualification")
router.register("tokens", TokenViewSet, basename="api-token")
urlpatterns = router.urls
