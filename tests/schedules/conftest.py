"""Cracks that many tests share are fitted once."""

from __future__ import annotations

from typing import Any

import pytest

from engineering import growth_fit

_FIT, _KEPT = growth_fit.fit, {}


@pytest.fixture(autouse=True)
def each_growth_fitted_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The fit is seeded: the same readings give the same figures (tests/engineering/test_growth_fit.py), so whoever
    asks for the same ones again is given the first answer. It takes half a second, and dozens of tests begin with it.
    """

    def fitted(cycles: Any, sizes_mm: Any, **more: Any) -> growth_fit.Fit:
        if more:
            return _FIT(cycles, sizes_mm, **more)
        key = tuple(map(float, cycles)), tuple(map(float, sizes_mm))
        if key not in _KEPT:
            _KEPT[key] = _FIT(cycles, sizes_mm)
        return _KEPT[key]

    monkeypatch.setattr(growth_fit, "fit", fitted)
