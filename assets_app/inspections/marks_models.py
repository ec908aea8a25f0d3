"""Marks that people draw on a photo. Only ever added: a wrong one is struck off by another row that says why."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class PhotoMark(models.Model):
    """One mark. Coordinates are shares of the photo's width and height from its upper left corner, 0 to 1."""

    class Shape(models.TextChoices):
        ARROW = "arrow", "arrow"
        RING = "ring", "ring"
        LENGTH = "length", "length"
        TEXT = "text", "words"

    evidence = models.ForeignKey("assets_app.Evidence", on_delete=models.PROTECT, related_name="marks")
    shape = models.CharField(max_length=6, choices=Shape.choices)
    x = models.FloatField(help_text="tip of the arrow, centre of the ring, one end of the length, start of the words")
    y = models.FloatField()
    x2 = models.FloatField(null=True, blank=True, help_text="tail of the arrow, a point on the ring")
    y2 = models.FloatField(null=True, blank=True)
    text = models.CharField(max_length=80, blank=True, help_text="words; of a length the size as the person typed it")
    by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(x__gte=0, x__lte=1, y__gte=0, y__lte=1)
                & (Q(x2=None) | Q(x2__gte=0, x2__lte=1))
                & (Q(y2=None) | Q(y2__gte=0, y2__lte=1)),
                name="mark_inside_its_photo",
            ),
            models.CheckConstraint(condition=~Q(shape="text") | ~Q(text=""), name="mark_of_words_has_words"),
            models.CheckConstraint(condition=~Q(shape="length") | ~Q(text=""), name="mark_of_length_has_its_size"),
        ]

    def __str__(self) -> str:
        return f"{self.shape} on photo {self.evidence_id}"


class StruckMark(models.Model):
    """A mark that no longer counts, and why; the mark itself stays on file."""

    mark = models.OneToOneField(PhotoMark, on_delete=models.PROTECT, related_name="struck")
    reason = models.CharField(max_length=200)
    by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
