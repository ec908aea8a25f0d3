"""Deeds done to recordings: started with a file, and put on joints as their measured spectra."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import asdict, fields
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.core.files.base import File
from django.db import transaction

from assets_app import dispatch
from assets_app.people import queries as people
from assets_app.people.models import Person
from assets_app.record import actions as record
from assets_app.refusals import Conflict, NotFound, Unprocessable
from assets_app.register.models import Asset, Joint
from engineering.figures import grouped
from schedules.duty import setup
from schedules.duty.models import StressSpectrum
from schedules.duty.recordings import reading, words
from schedules.duty.recordings.counting import Wanted
from schedules.duty.recordings.models import Recording

MOST_JOINTS = 200
STEEL_MPA = (10_000.0, 1_000_000.0)  # moduli that a metal may have


def start_recording(
    *,
    asset_id: int,
    file: File[bytes],
    column: str,
    wanted: Wanted,
    actor: Person,
    now: datetime,
    note: str = "",
    hand_over: bool = True,
) -> Recording:
    """Keep a recording's file and have it counted after commit.

    ``hand_over`` False where the caller counts it itself; should it die, the sweep finds the recording all the same.

    Refusals: ``not_found``, ``role_lacks_right``, ``file_too_large``, ``unit_contradicts``, those of
    ``reading.look_at``, and one for each setting out of range.
    """
    asset = Asset.objects.filter(pk=asset_id).first()
    if asset is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    people.require(actor, "spectrum.change", asset.site_id)
    _check(wanted, note)
    sha256, lines = _read_through(file)
    layout = reading.look_at(file, column)  # type: ignore[arg-type]  # Django's file has no full type
    if layout.unit and layout.unit != wanted.unit:
        said = Recording.Unit(layout.unit).label
        raise Unprocessable("unit_contradicts", f"The file itself says {said} for this column.", field="unit")
    recording = Recording(
        asset=asset,
        file_name=_plain_name(file.name or "recording"),
        sha256=sha256,
        column=layout.column,
        note=note.strip(),
        reading_notes=layout.notes,
        rows_total=layout.rows if layout.rows is not None else max(lines - layout.skip - 1, 0),
        started_by=actor,
        started_at=now,
        **asdict(wanted),
    )
    file.seek(0)
    recording.file.save(f"{sha256[:16]}.{layout.kind}", file, save=False)
    try:
        with transaction.atomic():
            recording.save()
            _tell(recording, "recording.started", _facts(recording), actor=actor, now=now)
            if hand_over:
                transaction.on_commit(_start_work, robust=True)
    except BaseException:
        recording.file.delete(save=False)
        raise
    return recording


def use_recording(
    *,
    recording_id: int,
    joint_ids: Sequence[int],
    actor: Person,
    now: datetime,
    valid_from: date,
    scale: float = 1.0,
    scale_reason: str = "",
    peak_stress_mpa: float | None = None,
    kind: str = "direct",
    bending_share: float = 0.0,
) -> list[StressSpectrum]:
    """Give joints of the asset the recording's spectrum, all or none; their ratings and due dates follow.

    ``scale`` is the stress at the joint over the stress at the gauge. ``peak_stress_mpa`` is the greatest tension at
    the joint, dead load included: a gauge does not know it.

    Refusals: ``not_found``, ``role_lacks_right``, ``not_counted``, ``joints_missing``, ``joint_elsewhere``,
    ``scale_not_positive``, ``scale_unexplained``, those of ``setup.add_spectrum``.
    """
    with transaction.atomic():
        recording = Recording.objects.select_related("asset").filter(pk=recording_id).first()
        if recording is None:
            raise NotFound("not_found", "There is nothing here that you can see.")
        people.require(actor, "spectrum.change", recording.asset.site_id)
        if recording.state != Recording.State.DONE:
            raise Conflict("not_counted", f"This recording is {recording.get_state_display()}: it has no spectrum.")
        joints = _joints(recording, joint_ids)
        _check_scale(scale, scale_reason)
        spectra = [
            setup.add_spectrum(
                joint_id=joint_id,
                bins=words.spectrum_of(recording.histogram, scale),
                status=StressSpectrum.Status.MEASURED,
                source=source_of(recording, scale),
                valid_from=valid_from,
                kind=kind,
                peak_stress_mpa=peak_stress_mpa,
                bending_share=bending_share,
                actor=actor,
                now=now,
            )
            for joint_id in joints
        ]
        content = {"sha256": recording.sha256, "joints": joints, "scale": scale, "scale_reason": scale_reason.strip()}
        _tell(recording, "recording.used", content, actor=actor, now=now)
        return spectra


def source_of(recording: Recording, scale: float) -> str:
    """Names the file and its hash; what it begins with finds the joints that it was put on."""
    return f"{source_begins(recording)} {recording.file_name[:60]}, sha256 {recording.sha256}, × {scale:g}"


def source_begins(recording: Recording) -> str:
    return f"recording {recording.pk}:"


def _start_work() -> None:
    from schedules.duty.recordings.tasks import work_off_recordings

    dispatch.send(work_off_recordings)


def _read_through(file: File[bytes]) -> tuple[str, int]:
    """Hash and number of lines."""
    limit = settings.RECORDING_LIMIT_BYTES
    if (file.size or 0) > limit:
        megabytes = limit // 1024**2
        raise Unprocessable("file_too_large", f"The file is larger than {megabytes} MB. Split it.", field="file")
    digest, lines = hashlib.sha256(), 0
    for chunk in file.chunks():
        digest.update(chunk)
        lines += chunk.count(b"\n")
    return digest.hexdigest(), lines


def _plain_name(name: str) -> str:
    name = name.replace("\\", "/").rpartition("/")[2]
    return "".join(sign for sign in name if sign.isprintable())[-255:] or "recording"


def _check(given: Wanted, note: str) -> None:
    choices = (("unit", Recording.Unit), ("cleaning", Recording.Cleaning), ("residue", Recording.Residue))
    for name, known in choices:
        if getattr(given, name) not in known.values:
            raise Unprocessable(f"{name}_unknown", f"Give one of {', '.join(known.values)}.", field=name)
    _positive(given.operating_cycles, "operating_cycles", "The recording covers more than 0 operating cycles.")
    _positive(given.bin_width_mpa, "bin_width_mpa", "A bin is wider than 0 MPa.")
    if given.spike_limit_mpa is not None:
        _positive(given.spike_limit_mpa, "spike_limit_mpa", "The limit for spikes is above 0 MPa.")
    least, most = STEEL_MPA
    if not least <= given.youngs_modulus_mpa <= most:
        raise Unprocessable(
            "modulus_out_of_range",
            f"The modulus lies between {grouped(least)} and {grouped(most)} MPa; steel has 210 000.",
            field="youngs_modulus_mpa",
        )
    if len(note) > 200:
        raise Unprocessable("note_too_long", "A note may have at most 200 characters.", field="note")


def _positive(value: float, name: str, message: str) -> None:
    if not (math.isfinite(value) and value > 0):
        raise Unprocessable(f"{name}_not_positive", message, field=name)


def _joints(recording: Recording, joint_ids: Sequence[int]) -> list[int]:
    wanted = sorted(set(joint_ids))
    if not 1 <= len(wanted) <= MOST_JOINTS:
        raise Unprocessable("joints_missing", f"Choose 1 to {MOST_JOINTS} joints.", field="joints")
    if Joint.objects.filter(pk__in=wanted, asset_id=recording.asset_id).count() != len(wanted):
        raise Unprocessable("joint_elsewhere", f"All joints must be of {recording.asset}.", field="joints")
    return wanted


def _check_scale(scale: float, reason: str) -> None:
    _positive(scale, "scale", "The factor from gauge to joint is above 0.")
    if scale != 1 and not reason.strip():
        raise Unprocessable("scale_unexplained", "Say where the factor comes from.", field="scale_reason")


def _facts(recording: Recording) -> dict[str, Any]:
    names = ("file_name", "sha256", "column", "note", *(part.name for part in fields(Wanted)))
    return {name: getattr(recording, name) for name in names}


def _tell(recording: Recording, deed: str, content: dict[str, Any], *, actor: Person, now: datetime) -> None:
    record.append(
        site_id=recording.asset.site_id,
        deed=deed,
        actor=actor,
        subject=recording,
        content=content,
        now=now,
        asset_id=recording.asset_id,
    )
