"""Photos judged by what is in them, never by their name. Pure: bytes in, a clean copy out.

The copy for the page is drawn anew as a JPEG of at most 1600 px a side, so nothing that hides in the original comes
along: no position, no maker's notes, no thumbnail, no second file behind the picture. The time of taking is kept.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import pi_heif
from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

from assets_app.refusals import Unprocessable

Image.init()
pi_heif.register_heif_opener()

MOST_BYTES = 25 * 1024 * 1024
MOST_PIXELS = 60_000_000  # a 50 megapixel phone, and some
LONGEST_SIDE = 1600
QUALITY = 85
OPENERS = ("JPEG", "PNG", "WEBP", "HEIF")  # a phone's MPO is opened as the JPEG it begins with
FORMATS = {"JPEG": "jpg", "MPO": "jpg", "PNG": "png", "WEBP": "webp", "HEIF": "heic"}
NAME_ENDINGS = frozenset({"", "jpg", "jpeg", "jpe", "jfif", "png", "webp", "heic", "heif", "hif"})
_BROKEN = (
    *(OSError, ValueError, SyntaxError, EOFError, RuntimeError, MemoryError, OverflowError, KeyError, TypeError),
    UserWarning,  # only where warnings are errors
)
_ACCEPTED = "Send a JPEG, PNG, WebP or HEIC photo."


@dataclass(frozen=True)
class Photo:
    """A photo that passed: the copy for the page, its size in px, when it was taken, and the true ending."""

    view: bytes
    width: int
    height: int
    taken_at: datetime | None
    ending: str


def read(data: bytes, *, name: str = "", zone: str = "UTC") -> Photo:
    """Check and redraw a photo. ``zone`` is the clock of a photo that carries a time without an offset.

    Raises ``Unprocessable``: ``photo_empty``, ``photo_too_large``, ``photo_disguised``, ``photo_not_an_image``,
    ``photo_too_many_pixels``, ``photo_broken``.
    """
    if not data:
        raise _refusal("photo_empty", "The file is empty.")
    if len(data) > MOST_BYTES:
        raise _refusal("photo_too_large", f"A photo may have at most {MOST_BYTES // 1024**2} MB.")
    ending = name.rsplit(".", 1)[-1].lower() if "." in name else ""
    if ending not in NAME_ENDINGS:
        raise _refusal("photo_disguised", f"{name} is not named like a photo. {_ACCEPTED}")
    try:
        with Image.open(io.BytesIO(data), formats=OPENERS) as image:
            return _redraw(image, zone)
    except UnidentifiedImageError:
        raise _refusal("photo_not_an_image", f"The file holds no photo, whatever its name. {_ACCEPTED}") from None
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _bomb() from None
    except _BROKEN:
        raise _refusal("photo_broken", "The photo is cut short or damaged; take or send it again.") from None


def _redraw(image: Image.Image, zone: str) -> Photo:
    if image.width * image.height > MOST_PIXELS:  # the header says so before a single pixel is unpacked
        raise _bomb()
    kind = str(image.format)
    exif = image.getexif()
    taken_at = _taken_at(exif, zone)
    image.draft("RGB", (2 * LONGEST_SIDE, 2 * LONGEST_SIDE))  # JPEG only: unpack no more than is needed
    upright = ImageOps.exif_transpose(image)
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE), Image.Resampling.LANCZOS)
    plain = _flatten(upright)
    kept = Image.Exif()
    if taken_at is not None:
        kept[ExifTags.Base.DateTime] = f"{taken_at:%Y:%m:%d %H:%M:%S}"
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=QUALITY, optimize=True, exif=kept)
    return Photo(out.getvalue(), plain.width, plain.height, taken_at, FORMATS[kind])


def _flatten(image: Image.Image) -> Image.Image:
    """Plain RGB on white; built from the pixels alone."""
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        layer = image.convert("RGBA")
        plain = Image.new("RGB", image.size, "white")
        plain.paste(layer, mask=layer.getchannel("A"))
        return plain
    if image.mode.startswith("I"):  # 16 bits a grey: a plain conversion would cut all of them to white
        image = image.convert("I").point(lambda value: value * (1 / 256)).convert("L")
    plain = Image.new("RGB", image.size)
    plain.paste(image.convert("RGB"))
    return plain


def _taken_at(exif: Image.Exif, zone: str) -> datetime | None:
    """When the camera says it was taken; None where it says nothing that can be read."""
    inner = exif.get_ifd(ExifTags.IFD.Exif)
    text = inner.get(ExifTags.Base.DateTimeOriginal) or exif.get(ExifTags.Base.DateTime)
    if not isinstance(text, str):
        return None
    offset = inner.get(ExifTags.Base.OffsetTimeOriginal)
    try:
        if isinstance(offset, str) and offset.strip("\x00 "):
            return datetime.strptime(f"{text} {offset}".replace("\x00", ""), "%Y:%m:%d %H:%M:%S %z")
        return datetime.strptime(text.strip("\x00 "), "%Y:%m:%d %H:%M:%S").replace(tzinfo=ZoneInfo(zone))
    except ValueError:
        return None


def _bomb() -> Unprocessable:
    return _refusal("photo_too_many_pixels", f"A photo may have at most {MOST_PIXELS // 10**6} megapixels.")


def _refusal(code: str, message: str) -> Unprocessable:
    return Unprocessable(code, message, field="photo")
