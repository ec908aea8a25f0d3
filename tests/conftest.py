"""Fixtures shared by all tests: a site, people of every role, assets and joints, a given clock."""

from __future__ import annotations

import fcntl
import gc
import os
import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from xdist.scheduler import LoadScopeScheduling

# No test is timed; in continuous integration the same examples are tried every time.
settings.register_profile("suite", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("suite")

ROOT = Path(__file__).resolve().parent.parent
NOW = datetime(2026, 6, 15, 9, 0, tzinfo=UTC)
TODAY = date(2026, 6, 15)


# What starts services or browsers runs one after the other on one worker, so that none waits for another's start, and
# the long ones come first, so that no worker is left with them at the end. All else goes file by file.
ONE_AFTER_THE_OTHER = {"tests/running": "services", "tests/browser": "browser", "tests/schedules/demo": "services"}
LONG_FIRST = ("services", "browser", "tests/doors/test_matrix.py", "tests/doors/test_fuzz.py")


class Together(LoadScopeScheduling):
    """Gives a worker one group after the other. (Not by the mark `xdist_group`: pytest-xdist 3.8 writes it where pytest
    9.2 no longer reads it, and every worker then starts the same services anew.)"""

    def _split_scope(self, nodeid: str) -> str:
        return _group(nodeid.partition("::")[0])


def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Together:
    return Together(config, log)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Long groups first. With DATABASE_TESTS_ONLY, leave out what does not touch the database."""
    places = {name: place for place, name in enumerate(LONG_FIRST)}
    items.sort(key=lambda item: places.get(_group(_file(item)), len(places)))
    _leave_out_what_ran_on_the_other_engine(config, items)


def pytest_collection_finish(session: pytest.Session) -> None:
    """What was imported and collected stays to the end: not walking through it again wins a sixth of the time."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)


def _file(item: pytest.Item) -> str:
    return item.path.relative_to(ROOT).as_posix()


def _group(file: str) -> str:
    return next((name for folder, name in ONE_AFTER_THE_OTHER.items() if file.startswith(folder + "/")), file)


def _leave_out_what_ran_on_the_other_engine(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not os.environ.get("DATABASE_TESTS_ONLY"):
        return
    touching = [item for item in items if "db" in getattr(item, "fixturenames", ()) or _is_marked(item)]
    config.hook.pytest_deselected(items=[item for item in items if item not in set(touching)])
    items[:] = touching


def _is_marked(item: pytest.Item) -> bool:
    return any(item.get_closest_marker(name) for name in ("django_db", "postgres"))


def pytest_runtest_setup(item: pytest.Item) -> None:
    from django.conf import settings

    if item.get_closest_marker("postgres") and "postgresql" not in settings.DATABASES["default"]["ENGINE"]:
        pytest.skip("needs PostgreSQL: `make test` runs it there, or set DATABASE_URL")


def _copies_a_database() -> bool:
    from django.conf import settings

    return "PYTEST_XDIST_WORKER" in os.environ and settings.DATABASES["default"]["ENGINE"].endswith("sqlite3")


@pytest.fixture(scope="session")
def django_db_keepdb(django_db_keepdb: bool) -> bool:
    """A copy stands already when the tests begin; it lies in pytest's own folder, which pytest clears."""
    return django_db_keepdb or _copies_a_database()


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None, django_db_blocker: Any, tmp_path_factory: Any
) -> None:
    """Of several workers on SQLite the first makes the tables, which takes seconds; each begins with a copy of them."""
    from django.conf import settings

    if not _copies_a_database():
        return
    own, made = tmp_path_factory.getbasetemp() / "db.sqlite3", tmp_path_factory.getbasetemp().parent / "made.sqlite3"
    with made.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not made.exists():
            with django_db_blocker.unblock():
                _make_tables(made)
    shutil.copyfile(made, own)
    settings.DATABASES["default"]["TEST"]["NAME"] = str(own)


def _make_tables(file: Path) -> None:
    from django.core.management import call_command
    from django.db import connection

    given, draft = connection.settings_dict["NAME"], file.with_suffix(".draft")
    connection.settings_dict["NAME"] = str(draft)
    call_command("migrate", verbosity=0)
    connection.close()  # what was written ahead goes into the file with it
    connection.settings_dict["NAME"] = given
    draft.replace(file)


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """A PostgreSQL beside the tests' own database, for tests that start processes of their own."""
    from running import postgres

    given = os.environ.get("DATABASE_URL", "")
    if given.startswith("postgres"):
        yield given
    else:
        with postgres.running() as url:
            yield url


@pytest.fixture(scope="session")
def redis_url() -> Iterator[str]:
    """A real Redis: the one of REDIS_URL, else one of our own."""
    from running import redis

    given = os.environ.get("REDIS_URL", "")
    if given:
        yield given
    else:
        with redis.running() as url:
            yield url


@pytest.fixture
def now() -> datetime:
    return NOW


@pytest.fixture
def today() -> date:
    return TODAY


@pytest.fixture
def site(db):
    from assets_app.models import Site

    return Site.objects.create(slug="larkmoor-pier", name="Larkmoor Pier", time_zone="Europe/London")


@pytest.fixture
def other_site(db):
    from assets_app.models import Site

    return Site.objects.create(slug="larkmoor-depot", name="Larkmoor Depot", time_zone="Europe/London")


@pytest.fixture
def person(db):
    """``person("planner", site)`` makes somebody with that role there; ``authority=True`` may lift holds.

    An engineer has a certificate.
    """
    from assets_app.models import Person, Qualification, Role

    made = 0

    def make(role: str | None = None, site=None, *, authority: bool = False, username: str | None = None):
        nonlocal made
        made += 1
        who = Person.objects.create_user(
            username or f"{role or 'visitor'}{made}", password="a-good-password", first_name=(role or "visitor").title()
        )
        if role:
            Role.objects.create(person=who, site=site, name=role, release_authority=authority)
        if role == "engineer":
            Qualification.objects.create(
                person=who, kind="engineer", issued_on=date(2020, 1, 1), expires_on=date(2099, 12, 31)
            )
        return who

    return make


@pytest.fixture
def asset(site):
    from assets_app.models import Asset

    return Asset.objects.create(site=site, tag="R-01", name="Gull Wheel", kind="ride", commissioned_on=date(2015, 4, 1))


@pytest.fixture
def weld_joint(asset):
    from assets_app.models import Joint, Weld

    joint = Joint.objects.create(
        asset=asset, tag="W-001", name="column foot", kind="weld", load_path="single", access="easy"
    )
    Weld.objects.create(
        joint=joint,
        joint_type="tee",
        weld_type="fillet",
        leg_mm=8,
        throat_mm=5.6,
        wall_mm=12,
        other_wall_mm=10,
        tube_diameter_mm=219.1,
        attachment_mm=30,
        detail_category_mpa=71,
        quality_level="C",
    )
    return joint


@pytest.fixture
def bolted_joint(asset):
    from assets_app.models import BoltGroup, Joint

    joint = Joint.objects.create(
        asset=asset, tag="B-001", name="slew ring", kind="bolted", load_path="single", access="easy"
    )
    BoltGroup.objects.create(
        joint=joint,
        bolt_count=12,
        pattern="ring",
        ring_diameter_mm=400,
        size="M20",
        property_class="8.8",
        tightening="torque",
    )
    return joint


@pytest.fixture
def counter(asset):
    from schedules.models import Counter

    return Counter.objects.create(asset=asset, name="cycles", unit="cycles")
