"""What is owed on each joint by each method, what limits it, and the due dates that follow."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from assets_app.inspections.models import Inspection, Method


class Limit(models.TextChoices):
    """Reasons by which a joint must be looked at, in the order in which equal dates are named."""

    FINDING = "finding", "finding"
    DAMAGE = "damage", "damage"
    GROWTH_WINDOW = "growth window", "growth window"
    MEASURED_GROWTH = "measured growth", "measured growth"
    SWEEP = "sweep", "sweep"
    LOAD_CHANGE = "load change", "load change"
    AFTER_WORK = "after work", "after work"
    FIXED = "fixed", "fixed"
    DUTY = "duty", "duty"
    CALENDAR = "calendar", "calendar"


class Policy(models.Model):
    """A site's shares, looks and lead times. Rows are only added: the newest governs, the others are its history."""

    site = models.ForeignKey("assets_app.Site", on_delete=models.CASCADE, related_name="policies")
    damage_share_single = models.FloatField(default=0.3, validators=[MinValueValidator(0.01), MaxValueValidator(1)])
    damage_share_other = models.FloatField(default=0.5, validators=[MinValueValidator(0.01), MaxValueValidator(1)])
    looks_single = models.PositiveSmallIntegerField(default=3, validators=[MinValueValidator(1)])
    looks_other = models.PositiveSmallIntegerField(default=2, validators=[MinValueValidator(1)])
    detection_chance = models.FloatField(default=0.9, validators=[MinValueValidator(0.5), MaxValueValidator(0.99)])
    watch_days = models.PositiveSmallIntegerField(default=90)
    plan_repair_days = models.PositiveSmallIntegerField(default=30)
    repair_look_days = models.PositiveSmallIntegerField(
        default=30, help_text="first look after a repair, at the latest"
    )
    bolt_recheck_days = models.PositiveSmallIntegerField(
        default=14, help_text="re-check of tightened bolts, at the latest"
    )
    due_soon_days = models.PositiveSmallIntegerField(default=30)
    lowest_service_c = models.FloatField(default=-20.0, help_text="lowest temperature of the steel in use, °C")
    growth_law = models.CharField(
        max_length=64, blank=True, help_text="row id of the growth laws; empty: the safe default"
    )
    reason = models.TextField(blank=True)
    set_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, null=True, related_name="+")
    set_at = models.DateTimeField()

    class Meta:
        ordering = ["site_id", "-set_at", "-id"]
        constraints = [
            # Beyond these no day comes out, and what cannot be computed would look like what is not due.
            models.CheckConstraint(
                name="policy_gives_days",
                condition=Q(
                    damage_share_single__gt=0,
                    damage_share_single__lte=1,
                    damage_share_other__gt=0,
                    damage_share_other__lte=1,
                    looks_single__gte=1,
                    looks_other__gte=1,
                ),
            )
        ]


class OfficeTable(models.Model):
    """An office's own table in place of a shipped one (categories, detection, growth laws, ...), with name and reason.

    Rows are only added: the newest of a site and table governs; a ``withdrawn`` one brings the shipped table back.
    """

    site = models.ForeignKey("assets_app.Site", on_delete=models.CASCADE, related_name="office_tables")
    table = models.CharField(max_length=40, help_text="name of the shipped table it replaces")
    title = models.CharField(max_length=120)
    data = models.JSONField(
        default=dict, help_text="title, source, edition, status, caution, rows; see engineering.tables"
    )
    withdrawn = models.BooleanField(default=False)
    reason = models.TextField()
    set_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, null=True, related_name="+")
    set_at = models.DateTimeField()

    class Meta:
        ordering = ["site_id", "table", "-set_at", "-id"]


class Programme(models.Model):
    """One method owed on one joint: what the maker, the authority or the office allows, and the last look."""

    joint = models.ForeignKey("assets_app.Joint", on_delete=models.CASCADE, related_name="programmes")
    asset = models.ForeignKey(
        "assets_app.Asset",
        on_delete=models.CASCADE,
        related_name="+",
        help_text="the joint's; kept here for the engine",
    )
    method = models.CharField(max_length=2, choices=Method.choices)
    calendar_months = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1)], help_text="longest time allowed"
    )
    duty_count = models.FloatField(null=True, blank=True, validators=[MinValueValidator(1)], help_text="count allowed")
    source = models.CharField(max_length=200, blank=True, help_text="who allows it, in which document")
    conditions = models.CharField(
        max_length=8,
        choices=Inspection.Conditions.choices,
        default=Inspection.Conditions.NORMAL,
        help_text="in which the looks are made; a look made in worse ones counts as such",
    )
    last_look_conditions = models.CharField(max_length=8, choices=Inspection.Conditions.choices, blank=True)
    last_look_on = models.DateField(null=True, blank=True, help_text="last look that counts, by this method")
    last_look_total = models.FloatField(null=True, blank=True, help_text="counter's total then")
    active = models.BooleanField(default=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["joint", "method"], name="method_once_a_joint")]
        indexes = [models.Index(fields=["asset", "id"], name="programme_by_asset")]

    def __str__(self) -> str:
        return f"{self.method} of {self.joint}"


class Rating(models.Model):
    """What one count of duty does to one joint, as seen by one method. Changes with the steel, not with the counter."""

    programme = models.OneToOneField(Programme, on_delete=models.CASCADE, primary_key=True, related_name="rating")
    version = models.PositiveIntegerField(default=1)
    damage_per_count = models.FloatField(
        null=True, help_text="Miner damage by one count of the counter; empty: unrated"
    )
    damage_share = models.FloatField(null=True, help_text="share of the life at which the first detailed look is owed")
    detectable_mm = models.FloatField(null=True, help_text="depth found with the wanted chance")
    critical_mm = models.FloatField(null=True, help_text="depth at which the section is no longer safe")
    window_count = models.FloatField(null=True, help_text="counts from detectable to critical; empty: unrated")
    looks = models.PositiveSmallIntegerField(default=3)
    unprotected = models.BooleanField(default=False, help_text="the method finds nothing below the critical size")
    incomplete = models.BooleanField(default=True, help_text="something is missing")
    impossible = models.BooleanField(
        default=False, db_default=False, help_text="a figure cannot be right: a look is owed today"
    )
    missing = models.JSONField(default=list, help_text="what is missing: [limit, figure, what to do]")
    inputs = models.JSONField(default=dict, help_text="every figure used, with unit, source and status")
    edition = models.CharField(max_length=64, help_text="of the methods used")
    computed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="rating_gives_days",
                condition=Q(looks__gte=1) & (Q(damage_share=None) | Q(damage_share__gt=0, damage_share__lte=1)),
            )
        ]


class OwedLook(models.Model):
    """A look owed for one reason, once: after work, at a fixed day, in a sweep, after a load change."""

    class Reason(models.TextChoices):
        AFTER_WORK = Limit.AFTER_WORK.value, "after work"
        FIXED = Limit.FIXED.value, "fixed"
        SWEEP = Limit.SWEEP.value, "sweep"
        LOAD_CHANGE = Limit.LOAD_CHANGE.value, "load change"

    joint = models.ForeignKey("assets_app.Joint", on_delete=models.CASCADE, related_name="owed_looks")
    method = models.CharField(max_length=2, choices=Method.choices, blank=True, help_text="empty: any method owed here")
    limit = models.CharField(max_length=16, choices=Reason.choices)
    due_on = models.DateField(null=True, blank=True)
    due_total = models.FloatField(null=True, blank=True, help_text="or at this counter total, whichever is earlier")
    why = models.CharField(max_length=240)
    source = models.CharField(max_length=200, blank=True)
    owed_since = models.DateField()
    satisfied_by = models.ForeignKey(
        "assets_app.Inspection", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    withdrawn_why = models.CharField(max_length=240, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(due_on__isnull=False) | Q(due_total__isnull=False), name="owed_look_has_a_day_or_a_count"
            )
        ]
        indexes = [
            models.Index(fields=["joint"], name="owed_looks_open", condition=Q(satisfied_by=None, withdrawn_why=""))
        ]


class CrackGrowth(models.Model):
    """The growth fitted to the measured sizes of one crack: when it reaches critical, early, middle and late."""

    finding = models.OneToOneField(
        "assets_app.Finding", on_delete=models.CASCADE, primary_key=True, related_name="growth"
    )
    sizes = models.PositiveIntegerField(help_text="measurements used")
    last_total = models.FloatField(null=True, help_text="counter total at the last one")
    critical_mm = models.FloatField(null=True, help_text="depth")
    early_total = models.FloatField(null=True, help_text="counter total at critical, early edge of the 80 % band")
    middle_total = models.FloatField(null=True)
    late_total = models.FloatField(null=True)
    due_total = models.FloatField(null=True, help_text="what is left to the early edge, divided by the looks owed")
    band = models.JSONField(default=list, help_text="[[total, low, middle, high in mm], ...] for the drawing")
    problem = models.CharField(max_length=240, blank=True, help_text="why no fit could be made")
    fitted_at = models.DateTimeField()


# Nearly every joint is looked at by eye and many by magnetic particles: those rows lie close together in the list.
RARER_METHODS = [method.value for method in Method if method not in (Method.VT, Method.MT)]


class DueDate(models.Model):
    """The due date of one joint and method, what governs it, and each limit's own day."""

    programme = models.OneToOneField(Programme, on_delete=models.CASCADE, primary_key=True, related_name="due")
    # Every changed date writes to every index, so no index is here that another makes needless: asset and site begin
    # those below, and a joint's rows are found by its programmes.
    joint = models.ForeignKey("assets_app.Joint", on_delete=models.CASCADE, related_name="due_dates", db_index=False)
    asset = models.ForeignKey("assets_app.Asset", on_delete=models.CASCADE, related_name="due_dates", db_index=False)
    site = models.ForeignKey("assets_app.Site", on_delete=models.CASCADE, related_name="due_dates", db_index=False)
    method = models.CharField(max_length=2, choices=Method.choices)
    due_on = models.DateField(
        null=True, help_text="the early date; empty: nothing limits it within the horizon, or unrated"
    )
    middle_on = models.DateField(null=True, help_text="the same by the middle forecast")
    governing = models.CharField(max_length=16, choices=Limit.choices, blank=True)
    next_limit = models.CharField(max_length=16, choices=Limit.choices, blank=True)
    next_on = models.DateField(null=True)
    calendar_on = models.DateField(null=True)
    duty_on = models.DateField(null=True)
    damage_on = models.DateField(null=True)
    growth_window_on = models.DateField(null=True)
    measured_growth_on = models.DateField(null=True)
    finding_on = models.DateField(null=True)
    sweep_on = models.DateField(null=True)
    after_work_on = models.DateField(null=True)
    load_change_on = models.DateField(null=True)
    fixed_on = models.DateField(null=True)
    unrated = models.BooleanField(default=False, help_text="a figure for the damage or growth window limit is missing")
    unprotected = models.BooleanField(default=False)
    damage_now = models.FloatField(null=True, help_text="Miner damage on the day of computing")
    count_now = models.FloatField(null=True, help_text="counter total used, forecast to the day of computing")
    reading_on = models.DateField(null=True, help_text="day of the last reading used")
    forecast_version = models.PositiveIntegerField(null=True)
    rating_version = models.PositiveIntegerField(null=True)
    code_version = models.CharField(max_length=24)
    computed_on = models.DateField(help_text="the day the figures hold for")
    changed_at = models.DateTimeField(help_text="when this row last changed")

    class Meta:
        indexes = [
            # The list's order. The method stands last, so that rows of another one are passed over in the index.
            models.Index(fields=["site", "due_on", "programme", "method"], name="due_by_site_with_method"),
            models.Index(fields=["asset", "due_on", "programme"], name="due_by_asset"),
            models.Index(fields=["site", "governing", "due_on", "programme"], name="due_by_governing"),
            models.Index(
                fields=["site", "method", "due_on", "programme"],
                name="due_by_rarer_method",
                condition=Q(method__in=RARER_METHODS),
            ),
            # In the list's order, so that the few are found and the many are not sorted; other rows pay nothing.
            models.Index(fields=["site", "due_on", "programme"], name="due_unrated", condition=Q(unrated=True)),
            models.Index(fields=["site", "due_on", "programme"], name="due_unprotected", condition=Q(unprotected=True)),
        ]


class StaleMark(models.Model):
    """Something changed under an asset (or one joint of it): its dates are owed a recompute."""

    asset = models.ForeignKey("assets_app.Asset", on_delete=models.CASCADE, related_name="+")
    joint = models.ForeignKey("assets_app.Joint", on_delete=models.CASCADE, null=True, related_name="+")
    rating_too = models.BooleanField(default=False, help_text="the steel, the spectrum or the policy changed")
    why = models.CharField(max_length=64)
    marked_at = models.DateTimeField()


class NotComputed(models.Model):
    """An asset whose recompute broke off: its dates stand as they were computed last, until a try succeeds."""

    asset = models.OneToOneField("assets_app.Asset", on_delete=models.CASCADE, primary_key=True, related_name="+")
    site = models.ForeignKey("assets_app.Site", on_delete=models.CASCADE, related_name="+")
    since = models.DateTimeField()
    tried_at = models.DateTimeField()
    tries = models.PositiveIntegerField(default=1)
    error = models.CharField(max_length=240)

    class Meta:
        ordering = ["since", "asset_id"]


class Sweep(models.Model):
    """One full recompute: how far it is. Partitions are ranges of assets, each claimed by one worker."""

    class State(models.TextChoices):
        RUNNING = "running", "running"
        DONE = "done", "done"
        FAILED = "failed", "done, but for some"

    site = models.ForeignKey(
        "assets_app.Site",
        on_delete=models.CASCADE,
        null=True,
        blank=True,
        related_name="+",
        help_text="empty: all sites",
    )
    for_day = models.DateField(help_text="the day on the site's clock")
    nightly = models.BooleanField(default=True, help_text="owed once a site and day; false: asked for by hand")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    state = models.CharField(max_length=8, choices=State.choices, default=State.RUNNING)
    ratings_too = models.BooleanField(default=False)
    programmes_total = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "for_day"], condition=Q(nightly=True), name="one_nightly_sweep_a_day"
            )
        ]


class SweepPart(models.Model):
    """A range of assets within a sweep."""

    sweep = models.ForeignKey(Sweep, on_delete=models.CASCADE, related_name="parts")
    first_asset = models.BigIntegerField()
    last_asset = models.BigIntegerField()
    programmes = models.PositiveIntegerField(default=0)
    claimed_at = models.DateTimeField(null=True)
    claimed_by = models.CharField(max_length=64, blank=True)
    done_at = models.DateTimeField(null=True)
    changed = models.PositiveIntegerField(default=0)
    left_out = models.PositiveIntegerField(default=0, db_default=0, help_text="assets whose recompute broke off")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["sweep", "first_asset"], name="part_once_a_sweep")]
