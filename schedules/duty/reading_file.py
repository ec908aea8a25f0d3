"""Readings from a CSV file: every row is judged, then all are posted or none."""

from __future__ import annotations

import csv
import hashlib
import io
from datetime import datetime
from typing import Any, BinaryIO
from zoneinfo import ZoneInfo

from django.db import transaction

from assets_app.people import queries as people
from assets_app.people.models import Person
from assets_app.record import actions as record
from assets_app.refusals import Refused, Unprocessable
from assets_app.register.models import Site
from engineering.figures import grouped
from schedules.duty import actions
from schedules.duty.actions import Entry, Report
from schedules.duty.clock import parse_time
from schedules.duty.models import Counter, Reading

COLUMNS = ("asset", "counter", "read_at", "value")
MOST_ROWS = 50_000


def post_readings_file(*, site: Site, file: BinaryIO, actor: Person, now: datetime, dry_run: bool) -> Report:
    """Post the readings of a CSV file with the columns asset, counter, read_at, value.

    Times are on the site's clock unless they carry an offset; an empty counter means the asset's primary one. Errors
    are gathered row by row (the heading is row 1): with ``dry_run`` they are in the report, else ``rows_refused``
    carries them as ``rows`` and nothing is written. ``notes`` say which times came twice and how they were taken.
    """
    people.require(actor, "reading.post", site.pk)
    content = file.read()
    rows = _rows(content)
    with transaction.atomic():
        entries, errors, notes = _entries(rows, site)
        judged = actions.post_readings(
            entries=entries, actor=actor, now=now, source=Reading.Source.FILE, dry_run=dry_run or bool(errors)
        )
        errors = sorted(errors + judged.errors, key=lambda error: error["row"])
        if errors and not dry_run:
            raise Unprocessable(
                "rows_refused",
                f"{grouped(len(errors))} of {grouped(len(rows))} rows cannot be taken; nothing was written.",
                field="file",
                rows=errors,
            )
        if judged.posted and not dry_run:
            summary = {
                "rows": len(rows),
                "posted": judged.posted,
                "already_there": judged.already_there,
                "sha256": hashlib.sha256(content).hexdigest(),
                "notes": notes,
            }
            record.append(
                site_id=site.pk, deed="readings.file_posted", actor=actor, subject=site, content=summary, now=now
            )
    return Report(judged.posted, judged.already_there, errors, notes, dry_run)


def _rows(content: bytes) -> list[dict[str, str]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Unprocessable(
            "file_unreadable", "This is no text in UTF-8. Save the sheet as CSV UTF-8.", field="file"
        ) from error
    heading = text.partition("\n")[0]
    delimiter = max(",;\t", key=heading.count)
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=delimiter, restval="", strict=True)
    try:
        names = [(name or "").strip().lower() for name in reader.fieldnames or []]
        missing = [name for name in COLUMNS if name not in names]
        if missing:
            raise Unprocessable(
                "columns_missing",
                f"The first row must name the columns {', '.join(COLUMNS)}. Missing: {', '.join(missing)}.",
                field="file",
                missing=missing,
            )
        reader.fieldnames = names
        rows = [{name: (row[name] or "").strip() for name in COLUMNS} for row in reader]
    except csv.Error as error:
        raise Unprocessable("file_unreadable", f"Row {reader.line_num} is no CSV: {error}.", field="file") from error
    if len(rows) > MOST_ROWS:
        raise Unprocessable(
            "file_too_long", f"{grouped(len(rows))} rows; send at most {grouped(MOST_ROWS)} at a time.", field="file"
        )
    if not rows:
        raise Unprocessable("file_empty", "There is no row under the heading.", field="file")
    return rows


def _entries(rows: list[dict[str, str]], site: Site) -> tuple[list[Entry], list[dict[str, Any]], list[dict[str, Any]]]:
    zone = ZoneInfo(site.time_zone)
    counters = _counters_by_name(site)
    entries: list[Entry] = []
    errors: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    for number, row in enumerate(rows, start=2):
        try:
            counter_id = _counter(counters, row["asset"], row["counter"])
            told = parse_time(row["read_at"], zone)
            entries.append(Entry(number, counter_id, read_number(row["value"]), told.at))
        except Refused as refused:
            error = {"row": number, "field": refused.field, "code": refused.code, "message": refused.message}
            errors.append(error)
            continue
        if told.note:
            notes.append({"row": number, "message": told.note})
    return entries, errors, notes


def _counters_by_name(site: Site) -> dict[str, dict[str, int]]:
    """Counter ids by asset tag and name; the empty name is the primary counter."""
    found: dict[str, dict[str, int]] = {}
    for counter in Counter.objects.filter(asset__site=site).select_related("asset"):
        names = found.setdefault(counter.asset.tag, {})
        names[counter.name] = counter.pk
        if counter.is_primary:
            names[""] = counter.pk
    return found


def _counter(counters: dict[str, dict[str, int]], tag: str, name: str) -> int:
    if tag not in counters:
        raise Unprocessable("asset_unknown", f"There is no asset {tag!r} with a counter at this site.", field="asset")
    if name not in counters[tag]:
        known = ", ".join(sorted(filter(None, counters[tag])))
        raise Unprocessable("counter_unknown", f"{tag} has no counter {name!r}; it has {known}.", field="counter")
    return counters[tag][name]


def read_number(text: str) -> float:
    """A number as it is typed without a unit; refuses (``reading_not_a_count``) what is none."""
    plain = text.replace(" ", "").replace("\u00a0", "").replace("\u202f", "")
    try:
        if "," in plain or "_" in plain:
            raise ValueError
        return float(plain)
    except ValueError as error:
        raise Unprocessable(
            "reading_not_a_count", f"{text!r} is no number. Write it without commas: 12345.5.", field="value"
        ) from error
