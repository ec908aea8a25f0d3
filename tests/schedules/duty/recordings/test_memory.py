"""Long recordings in bounded memory."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as parquet
import pytest

from tests.schedules.duty.recordings.samples import ride

MEASURE = """
import json, sys
import numpy as np
from schedules.duty.recordings import counting, reading

def peak():
    return int(next(line for line in open("/proc/self/status") if line.startswith("VmHWM")).split()[1]) / 1024

before = peak()
with open(sys.argv[1], "rb") as file:
    layout = reading.look_at(file, "stress")
    outcome = counting.work(lambda: reading.chunks(file, layout), counting.Wanted("mpa", 1000.0), lambda done: None)
print(json.dumps({"samples": outcome.samples, "before": before, "after": peak(), "pieces": outcome.seen.pieces}))
"""


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="peak memory is read from /proc")
def test_ten_million_samples_are_counted_in_bounded_memory(tmp_path):
    """The samples alone would be 80 MB as numbers, and screening them at once some 800 MB."""
    file = tmp_path / "long.parquet"
    with parquet.ParquetWriter(file, pa.schema([("stress", pa.float32())])) as writer:
        for k in range(10):
            part = ride(1_000_000, seed=k).astype(np.float32)
            writer.write_table(pa.table({"stress": part}), row_group_size=1_000_000)
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(file)], capture_output=True, text=True, check=True,
        cwd=Path(__file__).resolve().parents[4],
    )  # fmt: skip
    told = json.loads(done.stdout)
    print(told)
    assert told["samples"] == 10_000_000
    assert told["pieces"] >= 9
    assert told["after"] - told["before"] < 300
