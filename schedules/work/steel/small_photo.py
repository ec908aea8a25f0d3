"""A photo as it is taken along: enough to find the place again."""

from __future__ import annotations

import io

from PIL import Image

from assets_app.inspections.models import Evidence

LONGEST_SIDE = 480  # px
QUALITY = 60


def of(evidence: Evidence) -> bytes:
    """A small JPEG of the copy for the page, which carries no position."""
    with evidence.view.open("rb") as file, Image.open(file, formats=["JPEG"]) as image:
        image.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
        small = image.convert("RGB")
    small.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    out = io.BytesIO()
    small.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()
