"""An engineer, and recordings started and counted."""

from __future__ import annotations

import pytest
from django.core.files.base import ContentFile

from schedules.duty.recordings import actions, running
from schedules.duty.recordings.counting import Wanted


@pytest.fixture
def engineer(person, site, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    return person("engineer", site)


@pytest.fixture
def start(asset, engineer, now):
    def begin(content: bytes, column="stress", *, actor=engineer, unit="mpa", cycles=1.0, name="gull.csv", **more):
        return actions.start_recording(
            asset_id=asset.pk,
            file=ContentFile(content, name=name),
            column=column,
            wanted=Wanted(unit=unit, operating_cycles=cycles, **more),
            actor=actor,
            now=now,
            hand_over=False,
        )

    return begin


@pytest.fixture
def counted(start, now):
    def run(*args, **more):
        return running.run_recording(recording_id=start(*args, **more).pk, now=now)

    return run
