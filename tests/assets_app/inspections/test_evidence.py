"""Photos: what is let in, what is taken out of them, what is kept, and that failure leaves nothing behind."""

import hashlib
import io
import os
import struct
import zipfile
import zlib
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from PIL import ExifTags, Image

from assets_app.inspections import photos
from assets_app.inspections.actions import FindingInput, PhotoInput, add_evidence, sweep_evidence
from assets_app.models import Evidence, Inspection, RecordEntry
from assets_app.refusals import NotAllowed, NotFound, Unprocessable

HEIC = Path(__file__).parents[2] / "data" / "photos" / "small.heic"
GPS_MARK = b"LARKMOOR"


@pytest.fixture(autouse=True)
def media(tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path
    return tmp_path


def files(media) -> list[str]:
    return sorted(str(path.relative_to(media)) for path in media.rglob("*") if path.is_file())


def picture(kind="JPEG", size=(80, 60), *, colour="red", mode="RGB", exif=None) -> bytes:
    out = io.BytesIO()
    Image.new(mode, size, colour).save(out, kind, **({"exif": exif} if exif is not None else {}))
    return out.getvalue()


def tagged() -> bytes:
    """A JPEG that knows where and when it was taken, on its side."""
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    exif[ExifTags.Base.Make] = GPS_MARK.decode()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = "2026:06:14 15:30:00"
    gps = exif.get_ifd(ExifTags.IFD.GPSInfo)
    gps[ExifTags.GPS.GPSLatitudeRef], gps[ExifTags.GPS.GPSLatitude] = "N", (51.0, 30.0, 12.0)
    gps[ExifTags.GPS.GPSAreaInformation] = GPS_MARK
    return picture(exif=exif)


@pytest.fixture
def add(weld_joint, inspector, now):
    def make(data, **more):
        return add_evidence(**{"joint_id": weld_joint.pk, "data": data, "actor": inspector, "now": now, **more})

    return make


# What is let in


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_each_kind_of_phone_photo_becomes_a_jpeg(kind):
    photo = photos.read(picture(kind))
    with Image.open(io.BytesIO(photo.view)) as view:
        assert (view.format, view.mode, view.size) == ("JPEG", "RGB", (80, 60))


def test_a_heic_photo_becomes_a_jpeg():
    photo = photos.read(HEIC.read_bytes(), name="IMG_0001.HEIC")
    with Image.open(io.BytesIO(photo.view)) as view:
        assert (view.format, view.size) == ("JPEG", (64, 64))
    assert photo.ending == "heic"


@pytest.mark.parametrize("mode", ["RGBA", "L", "LA", "P", "1", "CMYK"])
def test_whatever_its_colours_it_can_be_shown(mode):
    kind = "JPEG" if mode == "CMYK" else "PNG"
    assert photos.read(picture(kind, mode=mode, colour=0)).width == 80


def test_sixteen_bits_of_grey_are_not_cut_to_white():
    with Image.open(io.BytesIO(photos.read(picture("PNG", mode="I;16", colour=30000)).view)) as view:
        assert abs(view.getpixel((40, 30))[0] - 30000 / 256) < 3


def test_what_is_clear_in_a_picture_is_shown_on_white():
    photo = photos.read(picture("PNG", mode="RGBA", colour=(0, 0, 0, 0)))
    with Image.open(io.BytesIO(photo.view)) as view:
        assert min(view.getpixel((40, 30))) > 250


def test_a_large_photo_is_shown_at_1600_pixels_and_keeps_its_shape():
    photo = photos.read(picture(size=(4000, 3000)))
    assert (photo.width, photo.height) == (1600, 1200)


def with_zip() -> bytes:
    out = io.BytesIO(picture())
    with zipfile.ZipFile(out, "a") as archive:
        archive.writestr("run.html", "<script>alert(1)</script>")
    return out.getvalue()


def test_a_second_file_hidden_behind_the_picture_does_not_reach_the_page():
    both = with_zip()
    assert zipfile.is_zipfile(io.BytesIO(both)), "the control: it is a picture and an archive at once"
    view = photos.read(both).view
    assert not zipfile.is_zipfile(io.BytesIO(view))
    assert b"script" not in view


def png_bomb(width: int, height: int) -> bytes:
    """A PNG of a few bytes whose header claims a huge picture."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(b"\0" * 1000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("data", "name", "code"),
    [
        (b"", "a.jpg", "photo_empty"),
        (b"<html><script>alert(1)</script></html>", "a.jpg", "photo_not_an_image"),
        (b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>", "a.png", "photo_not_an_image"),
        (b"MZ" + b"\0" * 500, "a.jpg", "photo_not_an_image"),
        (picture("GIF"), "a.jpg", "photo_not_an_image"),
        (picture("TIFF"), "a.jpg", "photo_not_an_image"),
        (picture("BMP"), "", "photo_not_an_image"),
        (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n", "a.jpg", "photo_not_an_image"),
        (picture(), "a.svg", "photo_disguised"),
        (picture(), "holiday.jpg.exe", "photo_disguised"),
        (picture(size=(400, 300))[:700], "a.jpg", "photo_broken"),
        (HEIC.read_bytes()[:9000], "a.heic", "photo_broken"),
        (png_bomb(40_000, 40_000), "a.png", "photo_too_many_pixels"),
        (png_bomb(10_000, 6_001), "a.png", "photo_too_many_pixels"),
        (b"\xff\xd8" + b"\0" * photos.MOST_BYTES, "a.jpg", "photo_too_large"),
    ],
    ids=lambda value: value if isinstance(value, str) else f"{len(value)} bytes",
)
def test_what_is_no_photo_is_refused_by_its_content(add, media, data, name, code):
    with pytest.raises(Unprocessable) as refusal:
        add(data, name=name)
    assert (refusal.value.code, refusal.value.field) == (code, "photo")
    assert files(media) == []


def test_a_bomb_is_refused_before_it_is_unpacked():
    import tracemalloc

    tracemalloc.start()
    with pytest.raises(Unprocessable):
        photos.read(png_bomb(60_000, 60_000))
    assert tracemalloc.get_traced_memory()[1] < 5_000_000
    tracemalloc.stop()


@pytest.mark.parametrize("seed", range(60))
def test_a_damaged_file_is_refused_or_drawn_but_never_an_error_of_another_kind(seed):
    import random

    dice = random.Random(seed)
    data = bytearray(dice.choice([tagged(), picture("PNG"), picture("WEBP"), HEIC.read_bytes()]))
    for _ in range(dice.randrange(1, 30)):
        data[dice.randrange(len(data))] = dice.randrange(256)
    with suppress(Unprocessable):
        assert photos.read(bytes(data)).view.startswith(b"\xff\xd8")


# What is taken out, and what is kept


def test_the_position_is_stripped_and_the_time_kept():
    original = tagged()
    assert GPS_MARK in original, "the control: it is in there"
    photo = photos.read(original, zone="Europe/London")
    assert photo.taken_at == datetime(2026, 6, 14, 14, 30, tzinfo=UTC)  # British summer time
    assert GPS_MARK not in photo.view
    with Image.open(io.BytesIO(photo.view)) as view:
        assert dict(view.getexif()) == {ExifTags.Base.DateTime: "2026:06:14 15:30:00"}
        assert view.size == (60, 80), "turned upright"


def test_a_time_with_an_offset_is_taken_at_its_word():
    exif = Image.Exif()
    inner = exif.get_ifd(ExifTags.IFD.Exif)
    inner[ExifTags.Base.DateTimeOriginal], inner[ExifTags.Base.OffsetTimeOriginal] = "2026:06:14 15:30:00", "+05:30"
    assert photos.read(picture(exif=exif)).taken_at == datetime(2026, 6, 14, 10, 0, tzinfo=UTC)


@pytest.mark.parametrize("text", ["0000:00:00 00:00:00", "yesterday", ""])
def test_a_camera_without_a_clock_leaves_the_time_unknown(text):
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = text
    assert photos.read(picture(exif=exif)).taken_at is None


def test_the_original_is_kept_byte_for_byte_under_its_hash(add):
    data = tagged()
    row = add(data, caption="upper toe")
    with row.original.open() as kept:
        assert kept.read() == data
    assert row.original_sha256 == hashlib.sha256(data).hexdigest()
    assert (row.width, row.height) == (60, 80)
    assert RecordEntry.objects.get(deed="evidence.added").facts["sha256"] == row.original_sha256


def test_the_same_photo_sent_twice_is_one(add, media):
    data = picture()
    assert add(data).pk == add(data).pk
    assert len(files(media)) == 2
    assert RecordEntry.objects.filter(deed="evidence.added").count() == 1


# Files and transactions


def test_photos_come_with_the_look_and_belong_to_its_findings(look, media):
    seen = look(
        FindingInput(kind="101", size="4"),
        FindingInput(kind="5011", size="0.2"),
        photos=[PhotoInput(data=picture(), finding_index=1), PhotoInput(data=picture(colour="blue"))],
    )
    of_finding, of_look = seen.evidence.order_by("pk")
    assert of_finding.finding.kind == "5011"
    assert of_look.finding is None
    assert len(RecordEntry.objects.get(deed="inspection.recorded").facts["photos"]) == 2
    assert len(files(media)) == 4


@pytest.mark.parametrize("second", [PhotoInput(data=b"no photo"), PhotoInput(data=picture("PNG"), finding_index=7)])
def test_a_look_that_is_refused_leaves_no_file_and_no_row(look, media, second):
    with pytest.raises(Unprocessable):
        look(photos=[PhotoInput(data=picture()), second])
    assert files(media) == []
    assert Evidence.objects.count() == Inspection.objects.count() == 0


def test_a_failure_after_the_files_were_written_removes_them(look, media, monkeypatch):
    from assets_app.record import actions as record

    def full_disk(**_):
        assert len(files(media)) == 2, "the control: they had been written"
        raise OSError("no space left")

    monkeypatch.setattr(record, "append", full_disk)
    with pytest.raises(OSError, match="no space"):
        look(photos=[PhotoInput(data=picture())])
    assert files(media) == []


def test_what_a_crash_left_behind_is_swept_and_nothing_else(add, media, now):
    kept = add(picture())
    old, young = (default_storage.save(f"evidence/view/2026/06/{name}.jpg", ContentFile(b"x")) for name in ("o", "y"))
    for name, age in ((old, 2), (young, 0), (kept.view.name, 9), (kept.original.name, 9)):
        moment = (now - timedelta(days=age)).timestamp()
        os.utime(default_storage.path(name), (moment, moment))
    assert sweep_evidence(now=now, dry_run=True) == [old]
    assert default_storage.exists(old)
    assert sweep_evidence(now=now) == [old]
    assert not default_storage.exists(old)
    assert default_storage.exists(young)
    assert default_storage.exists(kept.view.name)


# Who


@pytest.mark.parametrize("role", ["planner", "technician", "inspector", "engineer", "manager"])
def test_anybody_at_work_may_add_a_photo(add, person, site, role):
    assert add(picture(), actor=person(role, site)).added_by.roles.get().name == role


def test_an_auditor_may_not_and_a_stranger_sees_nothing(add, person, site, other_site, media):
    with pytest.raises(NotAllowed):
        add(picture(), actor=person("auditor", site))
    with pytest.raises(NotFound):
        add(picture(), actor=person("inspector", other_site))
    assert files(media) == []


def test_a_photo_goes_to_a_finding_of_the_same_joint_only(add, look, bolted_joint):
    finding = look(FindingInput(kind="101", size="4")).findings.get()
    assert add(picture(), finding_id=finding.pk).finding == finding
    with pytest.raises(Unprocessable) as refusal:
        add(picture(), joint_id=bolted_joint.pk, finding_id=finding.pk)
    assert refusal.value.code == "other_joint"
