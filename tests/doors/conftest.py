"""The world with its doors, built once for all rows of a file."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.db import transaction
from django.utils import timezone

from tests.conftest import NOW
from tests.doors.door import Door
from tests.doors.world import build


@pytest.fixture(scope="module")
def door(django_db_setup, django_db_blocker) -> Iterator[Door]:
    """One world for all rows: built once, every deed rolled back."""
    with pytest.MonkeyPatch.context() as patch, django_db_blocker.unblock(), transaction.atomic():
        patch.setattr(timezone, "now", lambda: NOW)
        yield Door(build(NOW))
        transaction.set_rollback(True)
