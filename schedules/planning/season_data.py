"""The weeks of the season strip from what is due, what is open and what is overdue."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from assets_app.register.models import Site
from schedules.due.list_counts import DueCounts
from schedules.duty.open_days import open_mask
from schedules.duty.queries import seasons_of_sites
from schedules.planning.season_strip import Season, Week

WEEKS = 53


def season_of(sites: Sequence[Site], *, today: date, counts: DueCounts) -> Season:
    """The weeks ahead at some sites. A day counts as closed when every one of them is closed by its own seasons.

    Work is counted in looks. Hands are not known: no crew is entered in the register.
    """
    monday = today - timedelta(days=today.weekday())
    closed = _closed_days(sites, monday)
    weeks = []
    for index in range(WEEKS):
        start = monday + timedelta(weeks=index)
        count = counts.weeks[index]
        share = float(closed[7 * index : 7 * index + 7].mean())
        weeks.append(Week(start, float(count), count, None, share, more=count.more))
    return Season(weeks, counts.overdue, float(counts.overdue), unit="looks", more_overdue=counts.overdue.more)


def _closed_days(sites: Sequence[Site], monday: date) -> np.ndarray:
    spans = seasons_of_sites(site.pk for site in sites)
    days = WEEKS * 7
    open_somewhere = np.zeros(days, dtype=bool)
    for own in spans.values():
        open_somewhere |= open_mask(own, monday.toordinal(), days)
    return ~open_somewhere if spans else np.zeros(days, dtype=bool)
