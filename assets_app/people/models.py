"""People, their roles at a site and their qualifications."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models


class Person(AbstractUser):
    """Someone who signs in."""

    link_made_at = models.DateTimeField(
        null=True, blank=True, help_text="when the link to set a password was made; none: no link leads anywhere"
    )

    link_made_by = models.CharField(
        max_length=160, blank=True, default="", help_text="name of who made that link, to be told at its use"
    )
    shut_at = models.DateTimeField(
        null=True, blank=True, help_text="when the account was last shut; no session from before lives on"
    )

    @property
    def display_name(self) -> str:
        return self.get_full_name() or self.username

    def __str__(self) -> str:
        return self.display_name

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """What every session carries: it ends with the password, and with the account's being shut."""
        own: str = super()._get_session_auth_hash(secret=secret)  # type: ignore[misc]
        return own if self.shut_at is None else f"{own}.{self.shut_at.timestamp()}"


class AccountMail(models.Model):
    """A mail about an account that is not sent yet. The row goes with the sending. It holds no link: that is made at
    the moment of sending."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="mails_owed")
    to = models.EmailField(help_text="the address as it was then: who changes it takes no warning away")
    subject = models.CharField(max_length=200)
    lines = models.JSONField(default=list, help_text="empty where it carries a link")
    link_made_at = models.DateTimeField(null=True, help_text="the link that it carries; empty: none")
    written_at = models.DateTimeField()
    attempts = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField(null=True, help_text="empty: given up")

    class Meta:
        ordering = ["pk"]
        indexes = [
            models.Index(
                fields=["next_try_at"], name="account_mails_owed", condition=models.Q(next_try_at__isnull=False)
            )
        ]


class RoleName(models.TextChoices):
    PLANNER = "planner", "planner"
    TECHNICIAN = "technician", "technician"
    INSPECTOR = "inspector", "inspector"
    ENGINEER = "engineer", "engineer"
    MANAGER = "manager", "manager"
    AUDITOR = "auditor", "auditor"


class Role(models.Model):
    """One role of one person at one site."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="roles")
    site = models.ForeignKey("assets_app.Site", on_delete=models.CASCADE, related_name="roles")
    name = models.CharField(max_length=12, choices=RoleName.choices)
    release_authority = models.BooleanField(default=False, help_text="named authority who may lift a hold here")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["person", "site", "name"], name="role_once_a_site")]

    def __str__(self) -> str:
        return f"{self.person} {self.name} at {self.site}"


class Qualification(models.Model):
    """A certificate with an end: NDT method and level, welder by process and position, engineer."""

    class Kind(models.TextChoices):
        NDT = "ndt", "non-destructive testing"
        WELDER = "welder", "welder"
        ENGINEER = "engineer", "engineer"

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="qualifications")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    method = models.CharField(max_length=4, blank=True, help_text="NDT method, e.g. MT")
    level = models.PositiveSmallIntegerField(null=True, blank=True)
    process = models.CharField(max_length=8, blank=True, help_text="ISO 4063 number")
    welding_position = models.CharField(
        max_length=80, blank=True, help_text="every one printed on the certificate, by its ISO 6947 symbol: PA PB PF"
    )
    certificate = models.CharField(max_length=64, blank=True)
    issued_on = models.DateField()
    expires_on = models.DateField()
    last_used_on = models.DateField(null=True, blank=True, help_text="a welder's continuity counts from here")

    class Meta:
        ordering = ["expires_on"]


class DeviceToken(models.Model):
    """The name a person gave to a device's token; the token itself is kept as a hash by knox."""

    token = models.OneToOneField("knox.AuthToken", on_delete=models.CASCADE, related_name="device")
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return self.name
