"""Reads of written reports that page and API share."""

from __future__ import annotations

import hashlib

from django.db.models import QuerySet

from assets_app.people.models import Person
from assets_app.people.queries import sites_of
from assets_app.refusals import Conflict
from assets_app.register.queries import one
from schedules.reports.models import WrittenReport


def reports_in_sight(person: Person) -> QuerySet[WrittenReport]:
    return WrittenReport.objects.filter(site__in=sites_of(person)).select_related("site", "asset", "joint", "asked_by")


def file_of(person: Person, report_id: int) -> tuple[WrittenReport, bytes]:
    """A written report and its PDF. Refusals: ``not_found``, ``report_not_written``, ``report_gone``."""
    row: WrittenReport = one(reports_in_sight(person), report_id)
    if row.state != WrittenReport.State.DONE:
        raise Conflict("report_not_written", f"There is no file yet: {row.get_state_display()}.", state=row.state)
    try:
        if row.file:
            with row.file.open("rb") as kept:
                content = kept.read()
            if hashlib.sha256(content).hexdigest() == row.file_sha256:
                return row, content
    except FileNotFoundError:
        pass
    raise Conflict("report_gone", "Its file is no longer here, or is no longer what was written. Have it made again.")
