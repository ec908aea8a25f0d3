"""Samples and files of them, and the published example, for the tests of recordings."""

from __future__ import annotations

import io

import numpy as np
import pyarrow as pa
import pyarrow.parquet as parquet
from django.core.files.base import ContentFile

# ASTM E1049-85, Figure 6 (§5.4.4): the turning points and the counts by range.
ASTM_POINTS = [-2, 1, -3, 5, -1, 3, -4, 4, -2]
ASTM_HALVES = [[3.0, 0.5], [4.0, 1.5], [6.0, 0.5], [8.0, 1.0], [9.0, 0.5]]


def csv_of(samples, name="stress", sep=",", decimal="."):
    rows = "".join(f"{k / 100}{sep}{value}\n".replace(".", decimal) for k, value in enumerate(samples))
    return f"time{sep}{name}\n{rows}".encode()


def parquet_of(**columns) -> bytes:
    target = io.BytesIO()
    parquet.write_table(pa.table(columns), target, row_group_size=4000)
    return target.getvalue()


def ride(samples=20_000, amplitude=60.0, seed=3):
    """A quiet, plausible recording: some 100 samples a cycle, and the noise of an amplifier."""
    noise = np.random.default_rng(seed).normal(0, 0.2, samples)
    return 20 + amplitude * np.sin(np.arange(samples) * 2 * np.pi / 100) + noise


def refusal(recording):
    assert recording.state == "refused"
    assert recording.histogram == []
    return recording.error["code"]


def form_of(content: bytes, **more):
    return {
        "file": ContentFile(content, name="gull.csv"), "column": "stress", "unit": "mpa", "operating_cycles": "12",
        "cleaning": "spikes", "residue": "closed", "bin_width_mpa": "1", "youngs_modulus_mpa": "210000", **more,
    }  # fmt: skip
