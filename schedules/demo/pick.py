"""Which joint a story happens to: by what it must be, each taken once."""

from __future__ import annotations

from collections.abc import Callable

from schedules.demo.drawings import Bolts, Welds
from schedules.demo.places import chance
from schedules.demo.stage import Stage
from schedules.demo.steel import Built
from schedules.due.models import Programme

Test = Callable[[Built], bool]
OLD_YEARS = 6.0  # stories of the past need an asset that was there


class Picker:
    """Deals joints in an order of its own; the same day deals the same."""

    def __init__(self, stage: Stage) -> None:
        self._left = [each for each in stage.built if not each.lost and each.data.years > OLD_YEARS]
        chance("stories").shuffle(self._left)
        rows = Programme.objects.exclude(rating__window_count=None).select_related("rating")
        self._window = {row.joint_id: (row.rating.window_count or 0.0) / stage_pace(stage, row) for row in rows}

    def take(self, *tests: Test) -> Built:
        """The next joint that passes all tests."""
        for each in self._left:
            if all(test(each) for test in tests):
                self._left.remove(each)
                return each
        raise LookupError("the drawings hold no further joint for this story")

    def window(self, least: float, most: float = float("inf")) -> Test:
        """Its growth window lasts so many years at the pace so far."""
        return lambda each: least < self._window.get(each.joint.pk, 0.0) < most


def stage_pace(stage: Stage, row: Programme) -> float:
    """Counts a year of the asset that a programme belongs to."""
    duty = next(duty for duty in stage.duties.values() if duty.counter.asset_id == row.asset_id)
    return duty.now / len(duty.totals) * 365.25


def welded(each: Built) -> bool:
    return isinstance(each.family, Welds) and each.detailed == "MT"


def ring(each: Built) -> bool:
    return isinstance(each.family, Bolts) and each.family.pattern == "ring"


def bolted(each: Built) -> bool:
    return isinstance(each.family, Bolts)


def single(each: Built) -> bool:
    return each.family.path == "single"


def several(each: Built) -> bool:
    return each.family.path == "multiple"


def at(site: str) -> Test:
    return lambda each: each.data.site == site
