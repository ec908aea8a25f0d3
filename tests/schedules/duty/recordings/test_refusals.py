"""Files and settings that recordings are refused for, each with its reason."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assets_app.refusals import Unprocessable
from schedules.duty.recordings import counting, reading
from schedules.models import Recording
from tests.schedules.duty.recordings.samples import csv_of, parquet_of, refusal, ride


@pytest.mark.parametrize(
    ("content", "column", "code"),
    [
        (b"", "stress", "file_empty"),
        (b"time,stress\n", "stress", "file_empty"),
        (b"PK\x03\x04 a workbook", "stress", "file_unreadable"),
        (b"\x1f\x8b packed", "stress", "file_unreadable"),
        (b"PAR1 cut off PAR1", "stress", "file_unreadable"),
        (b"\x00\x01\x02,\x00\n1,2\n", "stress", "file_unreadable"),
        (b"1,2\n3,4\n", "", "heading_missing"),
        (b"time,stress\n0,1\n", "strain", "column_unknown"),
        (b"a,b\n0,1\n", "", "column_missing"),
        (b"b,b\n0,1\n", "b", "column_doubled"),
        (b"x" * 70_000, "x", "file_too_wide"),
        (",".join(f"c{k}" for k in range(1_001)).encode() + b"\n1\n", "c1", "file_too_wide"),
        (b't;stress\n0;"1.234,5"\n', "stress", "decimal_unclear"),
        (parquet_of(stress=["a", "b"]), "stress", "column_not_numbers"),
        (parquet_of(stress=np.empty(0)), "stress", "file_empty"),
        (parquet_of(stress=np.zeros(3)), "strain", "column_unknown"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_before_it_is_kept(start, content, column, code):
    with pytest.raises(Unprocessable) as refused:
        start(content, column)
    assert refused.value.code == code
    assert not Recording.objects.exists()


@pytest.mark.parametrize(
    ("content", "more", "code"),
    [
        (csv_of(ride(500)) + b"5,abc\n", {}, "number_unreadable"),
        (csv_of(ride(500)) + b"5,1,2\n", {}, "row_uneven"),
        (csv_of(ride(500)) + b"5," + b"1" * 3_000_000 + b"\n", {}, "file_too_wide"),
        (csv_of(np.ones(500)), {}, "never_changes"),
        (csv_of([1, 2, 3]), {}, "shape"),
        (csv_of(ride(500) * 100), {}, "stress_impossible"),
        (csv_of([*ride(500), *["NaN"] * 100]), {}, "too_many_lost"),
        (csv_of([1, 5, "", 4]), {"cleaning": "nothing"}, "sample_lost"),
        (csv_of(np.linspace(-1, 1, 3000) * (-1) ** np.arange(3000) * 900), {"cleaning": "gaps", "bin_width_mpa": 0.1},
         "bins_too_narrow"),
    ],
)  # fmt: skip
def test_samples_that_cannot_be_counted_are_refused_with_the_reason(counted, content, more, code):
    recording = counted(content, **more)
    assert refusal(recording) == code
    assert recording.error["message"]


def test_a_number_that_cannot_be_read_is_named_with_its_row(counted):
    recording = counted(b"time,stress\n0,1.5\n1,2\n2,abc\n")
    assert "Row 4" in recording.error["message"]
    assert "abc" in recording.error["message"]


def test_a_parquet_column_cut_in_the_middle_is_refused(counted):
    whole = bytearray(parquet_of(stress=np.round(ride())))
    whole[60:400] = b"\xff" * 340
    assert refusal(counted(bytes(whole), name="gull.parquet")) == "file_unreadable"


def test_more_samples_than_are_ever_counted_are_refused(counted, start, monkeypatch):
    monkeypatch.setattr(reading, "MOST_SAMPLES", 400)
    assert refusal(counted(csv_of(ride(500)))) == "file_too_long"
    with pytest.raises(Unprocessable) as refused:
        start(parquet_of(stress=ride(500)))
    assert refused.value.code == "file_too_long"


def test_a_column_that_unpacks_to_far_more_than_its_numbers_is_refused(start, monkeypatch):
    monkeypatch.setattr(reading, "_FATTEST", 1)
    monkeypatch.setattr(reading, "BLOCK", 100)
    with pytest.raises(Unprocessable) as refused:
        start(parquet_of(stress=ride()))
    assert refused.value.code == "file_unreadable"


def test_a_file_larger_than_allowed_is_refused(start, settings):
    settings.RECORDING_LIMIT_BYTES = 100
    with pytest.raises(Unprocessable) as refused:
        start(csv_of(ride(500)))
    assert refused.value.code == "file_too_large"


@pytest.mark.parametrize("content", [b"t,gauge [um/m]\n0,1\n", b"t,gauge\ns,\xc2\xb5m/m\n0,1\n"])
def test_a_unit_that_the_file_itself_contradicts_is_refused(start, content):
    with pytest.raises(Unprocessable) as refused:
        start(content, "", unit="mpa")
    assert (refused.value.code, refused.value.field) == ("unit_contradicts", "unit")


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"unit": "psi"}, "unit_unknown"),
        ({"cycles": 0}, "operating_cycles_not_positive"),
        ({"cycles": float("nan")}, "operating_cycles_not_positive"),
        ({"bin_width_mpa": -1}, "bin_width_mpa_not_positive"),
        ({"spike_limit_mpa": 0}, "spike_limit_mpa_not_positive"),
        ({"youngs_modulus_mpa": 210}, "modulus_out_of_range"),
        ({"cleaning": "magic"}, "cleaning_unknown"),
        ({"residue": "none"}, "residue_unknown"),
    ],
)
def test_a_setting_out_of_range_is_refused(start, more, code):
    with pytest.raises(Unprocessable) as refused:
        start(csv_of(ride(500)), **more)
    assert refused.value.code == code


def test_the_drift_of_a_recording_of_several_pieces_is_not_taken_off(counted, monkeypatch):
    monkeypatch.setattr(counting.pieces, "__defaults__", (5_000, 100))
    assert refusal(counted(csv_of(ride()), cleaning="drift")) == "too_long_for_drift"


ODD = [b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff", b"\xb5m/m", b"\xc2\xb5", b"\x00", b"\x0c", b"\xe2\x80\xa8"]
PIECES = st.sampled_from([*b't,;\t\n\r"# |1', b"stress", b"2,5", b"-3.25e2", b"NaN", b"[MPa]", *ODD]).map(
    lambda piece: bytes([piece]) if isinstance(piece, int) else piece
)


@given(st.one_of(st.lists(PIECES, max_size=60).map(b"".join), st.binary(max_size=300)), st.sampled_from(["", "stress"]))
def test_no_csv_breaks_the_reading(content, column):
    assert read_or_refused(content, column) in TOLD


@given(st.lists(st.tuples(st.integers(0, 10_000), st.binary(min_size=1, max_size=8)), min_size=1, max_size=6))
def test_no_damaged_parquet_breaks_the_reading(damages):
    whole = bytearray(WHOLE)
    for at, other in damages:
        at = 4 + at % (len(whole) - 8)
        whole[at : at + len(other)] = other
    assert read_or_refused(bytes(whole), "stress") in TOLD


WHOLE = parquet_of(stress=np.round(ride(300)))


# What the reading says of itself that it refuses, by its description; "" where the numbers came.
FILE = {"file_empty", "file_unreadable", "file_too_wide", "file_too_long", "heading_missing", "decimal_unclear"}
COLUMN = {"column_unknown", "column_missing", "column_doubled", "column_not_numbers"}
TOLD = {"", "number_unreadable", "row_uneven", *FILE, *COLUMN}


def read_or_refused(content: bytes, column: str) -> str:
    """Numbers come, or a refusal, by its code; anything else would be a fault of ours."""
    file = io.BytesIO(content)
    try:
        for values in reading.chunks(file, reading.look_at(file, column)):
            assert values.dtype == np.float64
    except Unprocessable as refused:
        return refused.code
    return ""
