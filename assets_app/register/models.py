"""Sites, assets, members and joints: what exists, as the drawings and the maker say."""

from __future__ import annotations

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q

POSITIVE = [MinValueValidator(0.000001)]


class Site(models.Model):
    """A place with one clock and one habit of units."""

    class Units(models.TextChoices):
        METRIC = "metric", "mm, kN, MPa"
        US = "us", "in, kip, ksi"

    slug = models.SlugField(unique=True)
    name = models.CharField(max_length=120)
    time_zone = models.CharField(max_length=64, default="Europe/London", help_text="IANA name of the site's clock")
    units = models.CharField(max_length=8, choices=Units.choices, default=Units.METRIC)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Asset(models.Model):
    """A ride, trailer, lift, crane or structure."""

    class Kind(models.TextChoices):
        RIDE = "ride", "ride"
        TRAILER = "trailer", "trailer"
        LIFT = "lift", "lift"
        CRANE = "crane", "crane"
        STRUCTURE = "structure", "structure"

    class Status(models.TextChoices):
        IN_SERVICE = "in service", "in service"
        OUT_OF_SERVICE = "out of service", "out of service"
        RETIRED = "retired", "retired"

    class Consequence(models.TextChoices):
        LOW = "low", "low"
        HIGH = "high", "high"

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="assets")
    tag = models.CharField(max_length=64)
    name = models.CharField(max_length=160)
    kind = models.CharField(max_length=16, choices=Kind.choices)
    status = models.CharField(max_length=16, choices=Status.choices, default=Status.IN_SERVICE)
    commissioned_on = models.DateField(null=True, blank=True)
    consequence = models.CharField(
        max_length=8,
        choices=Consequence.choices,
        default=Consequence.HIGH,
        help_text="of a joint's failure; high if unknown",
    )
    place = models.CharField(max_length=120, blank=True, help_text="where on the site it stands")
    replacement_value = models.DecimalField(max_digits=14, decimal_places=2, null=True, blank=True)
    currency = models.CharField(max_length=3, default="GBP")
    latitude = models.FloatField(null=True, blank=True)
    longitude = models.FloatField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["tag"]
        constraints = [models.UniqueConstraint(fields=["site", "tag"], name="asset_tag_once_a_site")]

    def __str__(self) -> str:
        return f"{self.tag} {self.name}"


class Member(models.Model):
    """A piece of steel between joints."""

    asset = models.ForeignKey(Asset, on_delete=models.CASCADE, related_name="members")
    tag = models.CharField(max_length=64)
    name = models.CharField(max_length=160, blank=True)
    section = models.CharField(max_length=64, blank=True, help_text="as written on the drawing, e.g. CHS 219.1x8")
    steel_grade = models.CharField(max_length=32, blank=True, help_text="e.g. S355")
    wall_mm = models.FloatField(null=True, blank=True, validators=POSITIVE)

    class Meta:
        ordering = ["tag"]
        constraints = [models.UniqueConstraint(fields=["asset", "tag"], name="member_tag_once_an_asset")]

    def __str__(self) -> str:
        return self.tag


class Joint(models.Model):
    """A welded or bolted joint: the thing that is looked at."""

    class Kind(models.TextChoices):
        WELD = "weld", "welded"
        BOLTED = "bolted", "bolted"

    class Access(models.TextChoices):
        EASY = "easy", "easy"
        MODERATE = "moderate", "moderate"
        DIFFICULT = "difficult", "difficult"

    class LoadPath(models.TextChoices):
        SINGLE = "single", "single load path"
        MULTIPLE = "multiple", "more than one load path"
        UNKNOWN = "unknown", "load path unknown (treated as single)"

    asset = models.ForeignKey(Asset, on_delete=models.CASCADE, related_name="joints")
    member = models.ForeignKey(Member, on_delete=models.SET_NULL, null=True, blank=True, related_name="joints")
    other_member = models.ForeignKey(Member, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    tag = models.CharField(max_length=64)
    name = models.CharField(max_length=160, blank=True)
    kind = models.CharField(max_length=8, choices=Kind.choices)
    load_path = models.CharField(max_length=10, choices=LoadPath.choices, default=LoadPath.UNKNOWN)
    access = models.CharField(max_length=10, choices=Access.choices, blank=True, help_text="empty: not known")
    position = models.CharField(max_length=120, blank=True, help_text="in words: where on the asset")
    active = models.BooleanField(default=True)
    installed_on = models.DateField(null=True, blank=True, help_text="empty: with the asset")
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["tag"]
        constraints = [models.UniqueConstraint(fields=["asset", "tag"], name="joint_tag_once_an_asset")]
        indexes = [models.Index(fields=["tag", "id"], name="joint_by_tag")]

    def __str__(self) -> str:
        return self.tag

    @property
    def is_single_load_path(self) -> bool:
        """Unknown counts as single: the safe side."""
        return self.load_path != self.LoadPath.MULTIPLE


class Weld(models.Model):
    """What is known of a welded joint. Lengths in mm; empty means not known."""

    class JointType(models.TextChoices):
        BUTT = "butt", "butt"
        TEE = "tee", "tee"
        CRUCIFORM = "cruciform", "cruciform"
        LAP = "lap", "lap"
        CORNER = "corner", "corner"
        ATTACHMENT = "attachment", "attachment"

    class WeldType(models.TextChoices):
        FILLET = "fillet", "fillet"
        FULL_PENETRATION = "full penetration", "butt, full penetration"
        PARTIAL_PENETRATION = "partial penetration", "butt, partial penetration"

    joint = models.OneToOneField(Joint, on_delete=models.CASCADE, primary_key=True, related_name="weld")
    joint_type = models.CharField(max_length=16, choices=JointType.choices, blank=True)
    weld_type = models.CharField(max_length=20, choices=WeldType.choices, blank=True)
    leg_mm = models.FloatField(null=True, blank=True, validators=POSITIVE)
    throat_mm = models.FloatField(null=True, blank=True, validators=POSITIVE)
    penetration_mm = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0)])
    length_mm = models.FloatField(null=True, blank=True, validators=POSITIVE)
    process = models.CharField(max_length=8, blank=True, help_text="ISO 4063 number, e.g. 111, 135, 141")
    wall_mm = models.FloatField(
        null=True, blank=True, validators=POSITIVE, help_text="of the part where the toe cracks"
    )
    other_wall_mm = models.FloatField(null=True, blank=True, validators=POSITIVE)
    tube_diameter_mm = models.FloatField(null=True, blank=True, validators=POSITIVE, help_text="empty: a plate")
    attachment_mm = models.FloatField(
        null=True,
        blank=True,
        validators=POSITIVE,
        help_text="length of the welded-on part along the stress, weld toe to toe",
    )
    detail = models.CharField(max_length=64, blank=True, help_text="row id of the detail catalogue")
    detail_category_mpa = models.FloatField(
        null=True, blank=True, validators=POSITIVE, help_text="overrides the catalogue's"
    )
    quality_level = models.CharField(max_length=1, blank=True, help_text="ISO 5817: B, C or D")

    def __str__(self) -> str:
        return f"weld {self.joint}"


class BoltGroup(models.Model):
    """What is known of a bolted joint. Lengths in mm; empty means not known."""

    class Pattern(models.TextChoices):
        RING = "ring", "ring"
        GRID = "grid", "grid"
        CUSTOM = "custom", "by coordinates"

    class Tightening(models.TextChoices):
        TORQUE = "torque", "torque"
        COMBINED = "combined", "torque and turn"
        TENSION = "tension", "tension"
        SNUG = "snug", "snug, not preloaded"

    joint = models.OneToOneField(Joint, on_delete=models.CASCADE, primary_key=True, related_name="bolt_group")
    bolt_count = models.PositiveIntegerField(null=True, blank=True)
    pattern = models.CharField(max_length=8, choices=Pattern.choices, blank=True)
    ring_diameter_mm = models.FloatField(null=True, blank=True, validators=POSITIVE)
    rows = models.PositiveIntegerField(null=True, blank=True)
    row_pitch_mm = models.FloatField(null=True, blank=True, validators=POSITIVE)
    column_pitch_mm = models.FloatField(null=True, blank=True, validators=POSITIVE)
    positions = models.JSONField(default=list, blank=True, help_text="custom pattern: [[x, y], ...] in mm")
    size = models.CharField(max_length=8, blank=True, help_text="e.g. M20")
    property_class = models.CharField(max_length=8, blank=True, help_text="e.g. 8.8")
    preload_kn = models.FloatField(null=True, blank=True, validators=POSITIVE)
    tightening = models.CharField(max_length=10, choices=Tightening.choices, blank=True)
    detail = models.CharField(max_length=64, blank=True, help_text="row id of the detail catalogue")

    def __str__(self) -> str:
        return f"bolts {self.joint}"


class RegisterImport(models.Model):
    """One run of the importer: what was given, how far it is, what it found, row by row."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        RUNNING = "running", "running"
        CHECKED = "checked", "checked, nothing written"
        DONE = "done", "done"
        REFUSED = "refused", "refused, nothing written"
        FAILED = "failed", "failed, nothing written"

    class Kind(models.TextChoices):
        REGISTER = "register", "register"
        CERTIFICATES = "certificates", "certificates"
        COUNTERS = "counters", "counters"

    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, blank=True)
    kind = models.CharField(max_length=16, choices=Kind.choices, default=Kind.REGISTER, help_text="what the file holds")
    file_name = models.CharField(max_length=255)
    file = models.FileField(upload_to="imports/%Y/%m/")
    file_sha256 = models.CharField(max_length=64)
    mapping = models.JSONField(default=dict)
    dry_run = models.BooleanField(default=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.WAITING)
    rows_total = models.PositiveIntegerField(default=0)
    rows_done = models.PositiveIntegerField(default=0)
    report = models.JSONField(default=dict, help_text="counts and the errors, each with row, column, value, what to do")
    started_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, related_name="+")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    claimed_at = models.DateTimeField(null=True, blank=True, help_text="when the run at work began")
    claim = models.CharField(max_length=32, blank=True, help_text="names the run at work; another run changes it")
    attempts = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=Q(rows_done__lte=F("rows_total")), name="import_done_within_total")
        ]
        indexes = [
            models.Index(
                fields=["id"], name="import_to_work_off", condition=Q(state__in=["waiting", "running"])
            )  # what the sweep looks for
        ]

    def __str__(self) -> str:
        return f"import {self.pk} of {self.file_name}"

    @property
    def is_over(self) -> bool:
        """Nothing will change any more."""
        return self.state not in (self.State.WAITING, self.State.RUNNING)
