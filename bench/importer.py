"""P7: rows of a register imported in a minute, on a database of its own, with units, dates, members and looks owed.

The reference is the minute that was set out: 100,000 rows. The file is made up here; every row is one joint with its
weld or bolts, a member every fifth, an asset every hundredth, and one look owed.
"""

from __future__ import annotations

import json
import os
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

ROWS = 100_000
NOW = datetime(2026, 6, 15, 9, 0, tzinfo=UTC)
HEAD = (
    "asset_tag,asset_name,asset_kind,member_tag,member_section,member_steel_grade,joint_tag,joint_kind,joint_load_path,"
    "weld_joint_type,weld_weld_type,weld_leg,weld_wall,bolts_bolt_count,bolts_size,programme_method,"
    "programme_calendar_months,programme_last_look_on\n"
)
LEGS = ("8 mm", "3/8 in", "6", "9,5 mm", "1/4 in")


def file_of(rows: int) -> bytes:
    """A register of ``rows`` joints, all different."""
    lines = [HEAD]
    for n in range(rows):
        asset, day = n // 100, f"2025-{n % 12 + 1:02d}-{n % 28 + 1:02d}"
        member = f"M-{n % 100 // 5:02d},CHS 219.1x8,S355"
        if n % 5 == 4:
            steel = f"J-{n:06d},bolted,single,,,,,{n % 20 + 4},M20,BC"
        else:
            steel = f'J-{n:06d},weld,multiple,tee,fillet,"{LEGS[n % 5]}",{n % 17 + 6} mm,,,VT'
        lines.append(f"A-{asset:05d},ride {asset},ride,{member},{steel},{n % 4 * 6 + 6},{day}\n")
    return "".join(lines).encode()


def measure() -> dict[str, Any]:
    """Seconds from the stored file to the committed register, then of the same file once more."""
    with tempfile.TemporaryDirectory(prefix="soundjoint-bench-") as folder:
        _own_database(Path(folder))
        from django.core.files.base import ContentFile
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        from assets_app.models import Joint, Person, Role, Site
        from assets_app.register import importer

        site = Site.objects.create(slug="bench", name="Bench")
        actor = Person.objects.create_user("bench", password="a-good-password")  # a throwaway database
        Role.objects.create(person=actor, site=site, name="planner")
        content, seconds, processor, reports, queries = file_of(ROWS), [], [], [], []
        for _ in range(2):
            with CaptureQueriesContext(connection) as said:
                began, busy = time.perf_counter(), time.process_time()
                row = importer.start_import(
                    site_id=site.pk, file=ContentFile(content, name="bench.csv"), mapping="", dry_run=False,
                    actor=actor, now=NOW, hand_over=False,
                )  # fmt: skip
                row = importer.run_import(import_id=row.pk, now=NOW)
                seconds.append(time.perf_counter() - began)
                processor.append(time.process_time() - busy)
            reports.append(row.report["counts"])
            queries.append(len(said))
        if Joint.objects.count() != ROWS or reports[1]["joint"]["unchanged"] != ROWS:
            raise RuntimeError(f"the import went wrong: {row.state}, {row.report}")
    return {
        "key": "P7",
        "what": f"rows of a register imported in a minute, against {ROWS:,}",
        "ratio": round(60 / seconds[0], 1),
        "goal": 1.0,
        "sizes": {
            "rows": ROWS,
            "megabytes": round(len(content) / 1e6, 1),
            "first_import_s": round(seconds[0], 1),
            "first_import_processor_s": round(processor[0], 1),
            "same_file_again_s": round(seconds[1], 1),
            "queries_last": queries[1],
            "database": connection.vendor,
        },
    }


def _own_database(folder: Path) -> None:
    """A fresh database, so that a measurement never touches an office's own; DATABASE_URL must name a throwaway one."""
    import django
    from django.conf import settings
    from django.core.management import call_command
    from django.db import connections

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.test")
    django.setup()
    connections["default"].close()
    if connections["default"].vendor == "sqlite":
        connections["default"].settings_dict["NAME"] = str(folder / "bench.sqlite3")
    settings.MEDIA_ROOT = str(folder / "media")
    settings.CELERY_TASK_ALWAYS_EAGER = False
    _nothing_handed_over()
    call_command("migrate", verbosity=0)


def _nothing_handed_over() -> None:
    """The due dates that follow are measured elsewhere."""
    from schedules.due import actions

    actions._start_work = lambda: None


if __name__ == "__main__":
    print(json.dumps(measure()))
