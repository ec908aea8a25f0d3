"""An importer at hand: ``run_file(content, mapping)`` starts an import as the planner and works it off."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.files.base import ContentFile

from assets_app.register import importer

ROOT = Path(__file__).resolve().parents[3]
EXAMPLES = ROOT / "docs" / "examples"
BRIDGES = ROOT / "tests" / "data" / "bridges-40.csv"


def outcome(deed, *errors):
    """(what the deed gives, None) or (None, the named error it raises); any other error goes on."""
    try:
        return deed(), None
    except errors as error:
        return None, error


@pytest.fixture
def planner(person, site):
    return person("planner", site)


@pytest.fixture
def start(site, planner, now):
    def make(content, mapping="", *, dry_run=False, actor=None, name="register.csv", kind="register"):
        content = content.encode() if isinstance(content, str) else content
        return importer.start_import(
            site_id=site.pk,
            kind=kind,
            file=ContentFile(content, name=name),
            mapping=mapping,
            dry_run=dry_run,
            actor=actor or planner,
            now=now,
        )

    return make


@pytest.fixture
def run_file(start, now):
    def make(content, mapping="", **more):
        return importer.run_import(import_id=start(content, mapping, **more).pk, now=now)

    return make
