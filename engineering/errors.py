"""The one error of the engineering floor, and the guards that raise it.

An ``InputError`` always names the argument, so that the page can put the message beside the field.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
LARGEST = 1e60  # of any unit: no quantity of this trade comes near, and its fifth power is still a number


class InputError(ValueError):
    """An argument lies outside what a function can answer for.

    Attributes:
        argument: name of the argument at fault.
        reason: what is wrong and what would be right, in words.
        code: stable machine-readable code: ``not_a_number``, ``not_positive``, ``negative``, ``out_of_range``,
            ``unknown_row``, ``shape``, ``unit_needed``.
    """

    def __init__(self, argument: str, reason: str, *, code: str = "out_of_range") -> None:
        super().__init__(f"{argument}: {reason}")
        self.argument = argument
        self.reason = reason
        self.code = code


def finite(argument: str, value: ArrayLike) -> FloatArray:
    """``value`` as a float array; NaN, infinity or text raise ``InputError`` (``not_a_number``)."""
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(argument, f"needs a number, got {value!r}", code="not_a_number") from error
    if not np.all(np.isfinite(array)):
        raise InputError(argument, "needs a finite number; NaN or infinity was given", code="not_a_number")
    if np.any(np.abs(array) > LARGEST):
        raise InputError(argument, f"is larger than any real quantity (beyond {LARGEST:g})")
    return array


def one(guard: Callable[..., FloatArray], argument: str, value: ArrayLike, *limits: float, **words: str) -> float:
    """``value`` as one float that passed ``guard`` (``positive``, ``within`` ...); several raise ``shape``."""
    array = guard(argument, value, *limits, **words)
    if array.ndim:
        raise InputError(argument, f"needs one number, got {array.size} of them", code="shape")
    return float(array)


def positive(argument: str, value: ArrayLike) -> FloatArray:
    """``value`` as a float array, all > 0, else ``InputError`` (``not_positive``)."""
    array = finite(argument, value)
    if np.any(array <= 0):
        raise InputError(argument, f"must be greater than 0, got {_worst(array)}", code="not_positive")
    return array


def non_negative(argument: str, value: ArrayLike) -> FloatArray:
    """``value`` as a float array, all >= 0, else ``InputError`` (``negative``)."""
    array = finite(argument, value)
    if np.any(array < 0):
        raise InputError(argument, f"must not be negative, got {_worst(array)}", code="negative")
    return array


def within(argument: str, value: ArrayLike, low: float, high: float, *, unit: str = "") -> FloatArray:
    """``value`` as a float array, all in [low, high], else ``InputError`` (``out_of_range``)."""
    array = finite(argument, value)
    if np.any((array < low) | (array > high)):
        bad = array[(array < low) | (array > high)].flat[0]
        raise InputError(argument, f"must lie from {low:g} to {high:g} {unit}".rstrip() + f", got {bad:g}")
    return array


def _worst(array: FloatArray) -> Any:
    return f"{float(array.min()):g}"
