"""What is stuck on the steel. The token is an address, not a key: without a role at the site it opens nothing."""

from __future__ import annotations

import secrets

from django.db import models
from django.db.models import Q

TOKEN_BYTES = 16  # 128 random bits: no address can be guessed from another


def new_token() -> str:
    return secrets.token_urlsafe(TOKEN_BYTES)


class JointLabel(models.Model):
    """One label of a joint, however often it was printed; a new one withdraws it."""

    joint = models.ForeignKey("assets_app.Joint", on_delete=models.PROTECT, related_name="labels")
    token = models.CharField(max_length=32, unique=True, default=new_token)
    issued_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, related_name="+")
    issued_at = models.DateTimeField()
    withdrawn_by = models.ForeignKey(
        "assets_app.Person", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["joint"], condition=Q(withdrawn_at=None), name="one_label_a_joint")
        ]

    def __str__(self) -> str:
        return f"label {self.pk} of {self.joint}"
