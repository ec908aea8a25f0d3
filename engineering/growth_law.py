"""Laws of fatigue crack growth: range of K to growth per cycle, read from a table.

Units: range of K in N/mm^1.5, growth in mm per cycle.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from engineering import tables
from engineering.errors import FloatArray, InputError, non_negative, one, positive

DEFAULT_LAW = "steel-air-as-welded"
"""Faster at every range than each of the usual laws for steel in air, hence the safe one where nothing is known: the
simplified law is the faster below 124 and above 1911 N/mm^1.5, the upper two-stage law (R ≥ 0.5) between."""


@dataclass(frozen=True)
class GrowthLaw:
    """A growth law da/dN = A ΔK^m in stages, mm per cycle and N/mm^1.5.

    Attributes:
        id: row of the table.
        stages: (A, m) from low to high range; each begins where its line crosses the one before it.
        threshold: range of K under which a crack is taken not to grow, N/mm^1.5; used only when asked for.
        source, edition, status: where the constants come from and how sure that is.
    """

    id: str
    stages: tuple[tuple[float, float], ...]
    threshold: float
    source: str
    edition: str
    status: str

    @property
    def transitions(self) -> tuple[float, ...]:
        """Ranges of K, N/mm^1.5, at which one stage hands over to the next: (A1/A2)^(1/(m2 − m1))."""
        pairs = pairwise(self.stages)
        return tuple(float((low[0] / high[0]) ** (1.0 / (high[1] - low[1]))) for low, high in pairs)

    def rate(self, k_range: ArrayLike) -> FloatArray:
        """Growth in mm per cycle at a range of K in N/mm^1.5 (> 0), the threshold left aside.

        >>> float(law("steel-air-simplified").rate(100.0).round(12))
        5.21e-07
        """
        ln_k = np.log(positive("k_range", k_range))
        ln_a, m = self.stage_constants(ln_k)
        return np.asarray(np.exp(ln_a + m * ln_k))

    def stage_constants(self, ln_k: FloatArray) -> tuple[FloatArray, FloatArray]:
        """ln A and m of the stage that holds at ln of a range of K."""
        stage = np.searchsorted(np.log(self.transitions), ln_k)
        return np.log([each[0] for each in self.stages])[stage], np.array([each[1] for each in self.stages])[stage]


def law(id: str = DEFAULT_LAW, table: tables.Table | None = None) -> GrowthLaw:
    """The growth law ``id`` of the table ``growth_laws`` (or of an office's own ``table``).

    ``InputError``: ``unknown_row`` for an id that is not there, ``shape`` for stages that cannot follow each other.
    """
    row = (table or tables.load("growth_laws")).row(id)
    constants, exponents = row["a"], row["m"]
    if len(constants) != len(exponents) or not constants:
        raise InputError(id, "a and m need the same number of stages, at least one", code="shape")
    positive("a", constants)
    positive("m", exponents)
    if any(low == high for low, high in pairwise(exponents)):
        raise InputError(id, "two stages that follow each other need different exponents", code="shape")
    found = GrowthLaw(
        id=row.id,
        stages=tuple((float(a), float(m)) for a, m in zip(constants, exponents, strict=True)),
        threshold=one(non_negative, "threshold", row["threshold"]),
        source=row.source,
        edition=row.edition,
        status=row.status,
    )
    if any(low >= high for low, high in pairwise(found.transitions)):
        raise InputError(id, f"the stages do not follow each other: they cross at {found.transitions}", code="shape")
    return found
