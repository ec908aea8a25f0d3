"""JSON answers say the same as REST framework's own, and are JSON whatever is in them."""

import json
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from django.db import models
from django.utils.safestring import SafeString
from rest_framework.renderers import JSONRenderer
from rest_framework.utils.serializer_helpers import ReturnDict, ReturnList

from assets_app.doors.json_answers import JSONAnswers


class Mark(models.TextChoices):
    CRACK = "crack", "a crack"


@pytest.mark.parametrize(
    "value",
    [
        date(2026, 3, 29),
        datetime(2026, 3, 29, 1, 30, tzinfo=UTC),
        datetime(2026, 3, 29, 1, 30, 0, 250, tzinfo=UTC),
        datetime(2026, 10, 25, 1, 30, tzinfo=ZoneInfo("Europe/Dublin")),
        time(7, 30),
        timedelta(minutes=90),
        Decimal("1.50"),
        UUID(int=7),
        SafeString("Ærø – 10 µm <b>"),
        Mark.CRACK,
        ReturnDict({"a": [1, 2.5, None, True]}, serializer=None),
        ReturnList([{"x": 1}], serializer=None),
        {"mm": 0.1 + 0.2, "big": 2**63, "small": -1e-300},
        {"beyond 64 bits": 2**70},
        {1: "a key that is no text"},
        np.float64(1.5),
        (1, 2),
        {Mark.CRACK: 1},
        None,
    ],
    ids=repr,
)
def test_every_kind_of_value_reads_as_before(value):
    ours, theirs = JSONAnswers().render({"it": value}), JSONRenderer().render({"it": value})
    assert json.loads(ours) == json.loads(theirs)


def test_what_is_no_number_is_not_told_as_one():
    assert json.loads(JSONAnswers().render({"mm": float("nan"), "life": float("inf")})) == {"mm": None, "life": None}


def test_indented_answers_are_still_given_and_nothing_stays_nothing():
    given = JSONAnswers().render({"a": 1}, "application/json; indent=4", {})
    assert given == b'{\n    "a": 1\n}'
    assert JSONAnswers().render(None) == b""
