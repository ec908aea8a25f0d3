"""What travels in binary is what stands there: against plain SELECTs of a real PostgreSQL, as psycopg reads them."""

from __future__ import annotations

import math
from datetime import date, timedelta

import numpy as np
import pytest
from django.db import connection
from hypothesis import given
from hypothesis import strategies as st

from assets_app.models import Asset, Joint
from schedules.due import binary_rows, store, sweeps
from schedules.due.rules import NO_DAY
from schedules.models import DueDate, NotComputed, Programme, Rating

KINDS = {"pk": "id", "many": "int", "so": "flag", "day": "day", "much": "number", "said": "text"}
DAYS = st.integers(date(1900, 1, 1).toordinal(), date(2999, 12, 31).toordinal()) | st.just(int(NO_DAY))
ROWS = st.lists(
    st.tuples(
        st.integers(-(2**63), 2**63 - 1),
        st.integers(-(2**31), 2**31 - 1),
        st.booleans(),
        DAYS,
        st.floats(allow_nan=True),
        st.sampled_from(["", "VT", "growth window", "measured growth"]),
    ),
    min_size=1,
    max_size=30,
)


def columns_of(rows) -> dict[str, np.ndarray]:
    types = {"id": np.int64, "int": np.int64, "flag": bool, "day": np.int32, "number": float, "text": object}
    return {
        name: np.array(values, dtype=types[kind])
        for (name, kind), values in zip(KINDS.items(), zip(*rows, strict=True), strict=True)
    }


def plain(row) -> tuple:
    """A row as SQL holds it: nothing where nothing is known."""
    *first, on, much, said = row
    return (*first, None if on == NO_DAY else date.fromordinal(on), None if math.isnan(much) else much, said)


@given(ROWS)
def test_what_is_written_is_read_again(rows):
    columns = columns_of(rows)
    again = binary_rows.read(bytes(binary_rows.written(columns, KINDS)), KINDS)
    for name, values in columns.items():
        np.testing.assert_array_equal(again[name], values)
        assert again[name].dtype == values.dtype


@pytest.mark.postgres
@pytest.mark.django_db
@given(ROWS)
def test_postgresql_takes_what_is_written_and_sends_what_stands_there(rows):
    kinds = binary_rows.KINDS
    table = ", ".join(f"{name} {kinds[kind].sql_type}" for name, kind in KINDS.items())
    taken = ", ".join(binary_rows.taken(kind, name) for name, kind in KINDS.items())
    sent = ", ".join(binary_rows.sent(kind, name) for name, kind in KINDS.items())
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE TEMPORARY TABLE arrived ({table}); CREATE TEMPORARY TABLE kept ({table})")
        with cursor.cursor.copy("COPY arrived FROM STDIN (FORMAT binary)") as copy:
            copy.write(binary_rows.written(columns_of(rows), KINDS))
        cursor.execute(f"SELECT {taken} FROM arrived")
        assert cursor.fetchall() == [plain(row) for row in rows]
        cursor.execute(f"INSERT INTO kept SELECT {taken} FROM arrived")
        with cursor.cursor.copy(f"COPY (SELECT {sent} FROM kept) TO STDOUT (FORMAT binary)") as copy:
            back = binary_rows.read(b"".join(copy), KINDS)
        cursor.execute("DROP TABLE arrived, kept")
    for name, values in columns_of(rows).items():
        np.testing.assert_array_equal(back[name], values)


@pytest.mark.parametrize("name", ["method", *store.CODE_COLUMNS])
def test_every_method_and_limit_that_a_row_may_hold_has_room(name):
    assert DueDate._meta.get_field(name).max_length <= binary_rows.TEXT_WIDTH


def test_nothing_at_all_is_no_row():
    back = binary_rows.read(binary_rows.SIGNATURE + binary_rows.TRAILER, KINDS)
    assert {name: len(values) for name, values in back.items()} == dict.fromkeys(KINDS, 0)


def test_a_row_of_another_width_is_refused():
    """A text outside ASCII takes more bytes, and the places of all fields behind it move."""
    whole = bytes(binary_rows.written(columns_of([(1, 2, True, 700_000, 0.5, "VT")] * 40), KINDS))
    row = len(whole[len(binary_rows.SIGNATURE) : -2]) // 40
    for more in (1, 2, row):
        with pytest.raises(ValueError, match="another width"):
            binary_rows.read(whole[:60] + b"\x00" * more + whole[60:], KINDS)


@pytest.mark.postgres
@pytest.mark.django_db
def test_an_asset_with_a_method_that_cannot_be_read_stops_no_other_and_is_named(site, now, today):
    for tag in ("T-1", "T-2", "T-3"):
        asset = Asset.objects.create(site=site, tag=tag, name="trailer", kind="trailer", commissioned_on="2020-01-01")
        joint = Joint.objects.create(asset=asset, tag="J", kind="weld")
        Programme.objects.create(joint=joint, asset=asset, method="VÉ" if tag == "T-2" else "VT", calendar_months=12)
    sweeps.start(site=site, for_day=today, now=now)
    sweeps.work_off(worker="one", now=now)
    assert set(DueDate.objects.values_list("asset__tag", flat=True)) == {"T-1", "T-3"}
    row = NotComputed.objects.get()
    assert (row.asset.tag, row.error) == ("T-2", f"ValueError: {binary_rows.OTHER_WIDTH}")


@pytest.mark.django_db
def test_a_day_and_a_number_that_there_are_not_come_as_none_on_either_database(site, now):
    asset = Asset.objects.create(site=site, tag="T", name="trailer", kind="trailer", commissioned_on="2020-01-01")
    joint = Joint.objects.create(asset=asset, tag="J", kind="weld")
    look = now.date() - timedelta(days=3)
    Programme.objects.create(joint=joint, asset=asset, method="VT", calendar_months=12)
    Programme.objects.create(joint=joint, asset=asset, method="MT", last_look_on=look, last_look_total=2.5)
    read = store.read_programmes(store.Scope(asset_ids=[asset.pk]))
    assert read["method"].tolist() == ["VT", "MT"]
    assert read["last_look"].tolist() == [NO_DAY, look.toordinal()]
    np.testing.assert_array_equal(read["last_look_total"], [np.nan, 2.5])
    assert read["calendar_months"].tolist() == [12, 0]
    assert (read["old_governing"].tolist(), read["had_row"].tolist()) == (["", ""], [False, False])


@pytest.mark.django_db
@pytest.mark.parametrize("between", [0, 9])
def test_a_range_of_assets_reads_what_its_assets_named_one_by_one_do(site, between):
    """Whether its programmes lie close together or scattered between those of others."""
    assets = [
        Asset.objects.create(site=site, tag=f"T-{n}", name="trailer", kind="trailer", commissioned_on="2020-01-01")
        for n in range(3)
    ]
    for turn in range(4):
        for asset in [assets[0], *[assets[2]] * between, assets[1]]:
            joint = Joint.objects.create(asset=asset, tag=f"J-{asset.joints.count()}", kind="weld")
            made = Programme.objects.create(joint=joint, asset=asset, method="VT", calendar_months=12 + turn)
            Rating.objects.create(programme=made, window_count=made.pk, computed_at="2026-01-01T00:00Z", version=1)
    first, second, _ = (asset.pk for asset in assets)
    by_range = store.read_programmes(store.Scope(asset_range=(first, second)))
    by_name = store.read_programmes(store.Scope(asset_ids=[first, second]))
    assert len(by_range["programme_id"]) == 8
    assert by_range["window_count"].tolist() == by_range["programme_id"].tolist()
    for name, values in by_name.items():
        np.testing.assert_array_equal(by_range[name], values)
