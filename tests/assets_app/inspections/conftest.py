"""People with certificates, and a way to record a look that only says what matters."""

from datetime import date, timedelta

import pytest


@pytest.fixture
def certified(person):
    """``certified("inspector", site, "VT", "MT")``: somebody with that role and level 2 in these methods."""
    from assets_app.models import Qualification

    def make(role, site, *methods, level=2, **more):
        who = person(role, site, **more)
        for method in methods or ("VT", "PT", "MT", "UT", "ET", "RT"):
            Qualification.objects.create(
                person=who,
                kind="ndt",
                method=method,
                level=level,
                issued_on=date(2024, 1, 1),
                expires_on=date(2028, 12, 31),
            )
        return who

    return make


@pytest.fixture
def inspector(certified, site):
    return certified("inspector", site)


@pytest.fixture
def engineer(certified, site):
    return certified("engineer", site)


@pytest.fixture
def look(inspector, weld_joint, now):
    """``look(FindingInput(...), ...)`` records an MT look at the weld an hour ago."""
    from assets_app.inspections.actions import record_inspection

    def make(*findings, **more):
        facts = {
            "joint_id": weld_joint.pk,
            "method": "MT",
            "inspected_at": now - timedelta(hours=1),
            "result": "findings" if findings else "accepted",
            "findings": findings,
            "actor": inspector,
            "now": now,
        }
        return record_inspection(**{**facts, **more})

    return make


@pytest.fixture
def window():
    """``window(used=..., ends=...)`` says what the floor above knows of growth windows; unknown again afterwards."""
    from assets_app.inspections import hooks

    before = dict(hooks._providers)

    def know(*, used=None, ends=None):
        hooks.register(window_used=lambda **_: used, assessment_end=lambda **_: ends)

    yield know
    hooks._providers.update(before)
