"""Work orders with steps, parts and waiting; holds."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from assets_app.inspections.models import Method


class WorkOrder(models.Model):
    """Work owed on one joint, from a due date, a finding or by hand."""

    class Kind(models.TextChoices):
        INSPECT = "inspect", "inspect"
        REPAIR = "repair", "repair"
        TIGHTEN = "tighten", "tighten bolts"

    class Origin(models.TextChoices):
        DUE_DATE = "due date", "due date"
        FINDING = "finding", "finding"
        BY_HAND = "by hand", "by hand"

    class State(models.TextChoices):
        OPEN = "open", "open"
        WAITING = "waiting", "waiting"
        PART_DONE = "part done", "part done"
        DONE = "done", "done, to be verified"
        CLOSED = "closed", "closed"
        CANCELLED = "cancelled", "cancelled"

    site = models.ForeignKey("assets_app.Site", on_delete=models.PROTECT, related_name="work_orders")
    asset = models.ForeignKey("assets_app.Asset", on_delete=models.PROTECT, related_name="work_orders")
    joint = models.ForeignKey("assets_app.Joint", on_delete=models.PROTECT, related_name="work_orders")
    number = models.PositiveIntegerField(help_text="counts up within the site")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    method = models.CharField(max_length=2, choices=Method.choices, blank=True)
    origin = models.CharField(max_length=10, choices=Origin.choices)
    finding = models.ForeignKey(
        "assets_app.Finding", on_delete=models.PROTECT, null=True, blank=True, related_name="work_orders"
    )
    title = models.CharField(max_length=160)
    due_on = models.DateField(null=True, blank=True, help_text="as it stood when the order was raised, or as deferred")
    why = models.TextField(blank=True, help_text="the governing limit in words, as it stood")
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    assignee = models.ForeignKey(
        "assets_app.Person", on_delete=models.PROTECT, null=True, blank=True, related_name="work_orders"
    )
    planned_on = models.DateField(null=True, blank=True)
    cost_estimate = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)
    minutes_spent = models.PositiveIntegerField(default=0)
    raised_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, null=True, related_name="+")
    raised_at = models.DateTimeField()
    done_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    done_at = models.DateTimeField(null=True, blank=True)
    done_note = models.TextField(blank=True)
    inspection = models.ForeignKey(
        "assets_app.Inspection",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="work_orders",
        help_text="the look that this work wrote",
    )
    verified_by = models.ForeignKey(
        "assets_app.Person", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    verified_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1, help_text="goes up with every change; a stale one is refused")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "number"], name="order_number_once_a_site"),
            models.UniqueConstraint(
                fields=["joint", "method"],
                condition=Q(kind="inspect", state__in=["open", "waiting", "part done", "done"]),
                name="one_open_look_a_joint_and_method",
            ),
            models.CheckConstraint(
                condition=Q(verified_by=None) | ~Q(verified_by=models.F("done_by")), name="never_verified_by_the_doer"
            ),
        ]
        indexes = [
            models.Index(fields=["assignee", "state", "planned_on"], name="orders_of_a_person"),
            models.Index(fields=["site", "state", "due_on", "id"], name="orders_of_a_site"),
        ]

    def __str__(self) -> str:
        return f"order {self.number}"


class Step(models.Model):
    """One thing to do: tick it, write a value, or take a photo."""

    class Kind(models.TextChoices):
        TICK = "tick", "tick"
        VALUE = "value", "value"
        PHOTO = "photo", "photo"

    order = models.ForeignKey(WorkOrder, on_delete=models.CASCADE, related_name="steps")
    sequence = models.PositiveSmallIntegerField()
    text = models.CharField(max_length=200)
    kind = models.CharField(max_length=8, choices=Kind.choices, default=Kind.TICK)
    unit = models.CharField(max_length=16, blank=True)
    required = models.BooleanField(default=True)
    value = models.CharField(max_length=64, blank=True)
    evidence = models.ForeignKey(
        "assets_app.Evidence", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    done_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    done_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["sequence"]
        constraints = [models.UniqueConstraint(fields=["order", "sequence"], name="step_once_an_order")]


class Part(models.Model):
    """A part an order needs, with its lead time."""

    order = models.ForeignKey(WorkOrder, on_delete=models.CASCADE, related_name="parts")
    name = models.CharField(max_length=120)
    quantity = models.PositiveIntegerField(default=1)
    lead_time_days = models.PositiveIntegerField(default=0)
    ordered_on = models.DateField(null=True, blank=True)
    arrived_on = models.DateField(null=True, blank=True)
    cost = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)


class Wait(models.Model):
    """Why an order stands still."""

    class Reason(models.TextChoices):
        PARTS = "parts", "parts"
        ACCESS = "access", "access"
        WEATHER = "weather", "weather"
        PERMIT = "permit", "permit"

    order = models.ForeignKey(WorkOrder, on_delete=models.CASCADE, related_name="waits")
    reason = models.CharField(max_length=8, choices=Reason.choices)
    note = models.CharField(max_length=200, blank=True)
    since = models.DateField()
    expected_until = models.DateField(null=True, blank=True)
    ended_on = models.DateField(null=True, blank=True)
    begun_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-since", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["order"], condition=Q(ended_on=None), name="waits_for_one_thing_at_a_time")
        ]


class Hold(models.Model):
    """Not to be used. Anyone places one; only the named authority, never who did the work, lifts it."""

    site = models.ForeignKey("assets_app.Site", on_delete=models.PROTECT, related_name="holds")
    asset = models.ForeignKey("assets_app.Asset", on_delete=models.PROTECT, related_name="holds")
    joint = models.ForeignKey("assets_app.Joint", on_delete=models.PROTECT, null=True, blank=True, related_name="holds")
    finding = models.ForeignKey(
        "assets_app.Finding", on_delete=models.PROTECT, null=True, blank=True, related_name="holds"
    )
    reason = models.TextField()
    placed_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, null=True, related_name="+")
    placed_at = models.DateTimeField()
    released_by = models.ForeignKey(
        "assets_app.Person", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    released_at = models.DateTimeField(null=True, blank=True)
    release_reason = models.TextField(blank=True)
    release_evidence = models.CharField(max_length=240, blank=True, help_text="report, certificate or photo relied on")

    class Meta:
        ordering = ["-placed_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["finding"], condition=Q(released_at=None), name="one_standing_hold_a_finding"
            )
        ]
        indexes = [models.Index(fields=["asset"], name="holds_standing", condition=Q(released_at=None))]
