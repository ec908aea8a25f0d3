"""Cracks that many tests share are fitted once."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from engineering import growth_fit


@pytest.fixture(scope="session", autouse=True)
def each_growth_fitted_once() -> Iterator[None]:
    """The fit is seeded: the same readings give the same figures (tests/engineering/test_growth_fit.py), so whoever
    asks for the same ones again is given the first answer. It takes half a second, and dozens of tests begin with it.
    """
    fit, kept = growth_fit.fit, {}

    def fitted(cycles: Any, sizes_mm: Any) -> growth_fit.Fit:
        key = tuple(map(float, cycles)), tuple(map(float, sizes_mm))
        if key not in kept:
            kept[key] = fit(cycles, sizes_mm)
        return kept[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(growth_fit, "fit", fitted)
        yield
