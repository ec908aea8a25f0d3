"""What the floor above knows and inspections ask for: the growth window of a crack.

The due floor registers its answers when the app starts; without them a window is *unknown*, and unknown refuses.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

WindowUsed = Callable[..., float | None]
WindowEnd = Callable[..., date | None]


def _unknown(**_: Any) -> None:
    return None


_providers: dict[str, Callable[..., Any]] = {"used": _unknown, "end": _unknown}


def register(*, window_used: WindowUsed | None = None, assessment_end: WindowEnd | None = None) -> None:
    """Called once by the floor above (``AppConfig.ready``).

    ``window_used(joint_id=, kind=, length_mm=, depth_mm=, now=)`` -> share of the growth window used, or None.
    ``assessment_end(finding=, now=)`` -> the last day on which the crack is still inside its growth window, or None.
    """
    if window_used is not None:
        _providers["used"] = window_used
    if assessment_end is not None:
        _providers["end"] = assessment_end


def window_used(
    *, joint_id: int, kind: str, length_mm: float | None, depth_mm: float | None, now: datetime
) -> float | None:
    """Share of the growth window that a crack of this size has used; None is not known."""
    return _providers["used"](joint_id=joint_id, kind=kind, length_mm=length_mm, depth_mm=depth_mm, now=now)


def latest_assessment_end(finding: Any, now: datetime) -> date | None:
    """Last day to which an assessment of the finding may run; None is not known."""
    return _providers["end"](finding=finding, now=now)
