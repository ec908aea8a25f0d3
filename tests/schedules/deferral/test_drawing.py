"""The backlog's bars leave room for the words behind them."""

import re
from decimal import Decimal

import pytest

from schedules.deferral.drawing import LETTER, WIDTH, age_bands, said
from schedules.deferral.rules import AgeBand


@pytest.mark.parametrize("cost", [0, 1400, 1_284_310, 12_000_000_000])
def test_the_words_behind_the_longest_bar_end_within_the_drawing(cost):
    band = AgeBand(words="up to 30 days", silent=4, signed=3, cost=Decimal(cost), unpriced=2)
    svg, words = age_bands([band], "GBP").svg, said(band, "GBP")
    x = float(re.search(rf'x="([\d.]+)"[^>]*>{re.escape(words)}<', svg).group(1))
    assert 130 < x <= WIDTH - LETTER * len(words)
