"""Certificates on a day: levels, last days, a welder's six months."""

from dataclasses import dataclass
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assets_app.people import qualification_rules as rules


@dataclass
class Certificate:
    kind: str = "ndt"
    method: str = "MT"
    level: int | None = 2
    process: str = ""
    welding_position: str = ""
    issued_on: date = date(2024, 1, 1)
    expires_on: date = date(2026, 6, 15)
    last_used_on: date | None = None


WELDER = {"kind": "welder", "method": "", "level": None, "process": "135", "welding_position": "PF"}


def test_the_last_day_of_a_certificate_counts_and_the_day_after_does_not():
    assert rules.ndt_valid(Certificate(), "MT", date(2026, 6, 15))
    assert not rules.ndt_valid(Certificate(), "MT", date(2026, 6, 16))
    assert not rules.ndt_valid(Certificate(), "MT", date(2023, 12, 31))


@pytest.mark.parametrize(("level", "signs"), [(None, False), (1, False), (2, True), (3, True)])
def test_level_two_is_needed_to_interpret(level, signs):
    assert rules.ndt_valid(Certificate(level=level), "MT", date(2026, 1, 1)) is signs


def test_a_certificate_is_for_its_method_only():
    assert not rules.ndt_valid(Certificate(method="MT"), "UT", date(2026, 1, 1))
    assert not rules.ndt_valid(Certificate(kind="welder"), "MT", date(2026, 1, 1))


def test_visual_testing_needs_a_certificate_and_a_bolt_check_does_not():
    assert rules.needs_ndt("VT")
    assert not rules.needs_ndt("BC")


@pytest.mark.parametrize(
    ("certificates", "words"),
    [
        ([], "no MT certificate"),
        ([Certificate(method="UT")], "no MT certificate"),
        ([Certificate(level=1)], "level 1"),
        ([Certificate(expires_on=date(2025, 3, 4))], "ran out on 4 Mar 2025"),
        ([Certificate(issued_on=date(2026, 2, 1))], "only issued on 1 Feb 2026"),
        ([Certificate(level=1), Certificate()], ""),
    ],
)
def test_the_reason_says_what_is_wrong(certificates, words):
    why = rules.why_not_ndt(certificates, "MT", date(2026, 1, 1))
    assert (words in why) if words else why == ""


def test_a_welder_keeps_the_process_for_six_months_after_using_it():
    certificate = Certificate(**WELDER, last_used_on=date(2025, 8, 31))
    assert rules.continuity_ends(certificate) == date(2026, 2, 28)
    assert rules.welder_valid(certificate, date(2026, 2, 28), process="135", position="PF")
    assert not rules.welder_valid(certificate, date(2026, 3, 1), process="135", position="PF")
    assert rules.state(certificate, date(2026, 3, 1)) == "continuity lapsed"


def test_a_welder_without_a_recorded_use_counts_from_the_certificate():
    certificate = Certificate(**WELDER)
    assert rules.welder_valid(certificate, date(2024, 7, 1), process="135")
    assert not rules.welder_valid(certificate, date(2024, 7, 2), process="135")


def test_a_welder_is_qualified_for_process_and_position():
    certificate = Certificate(**WELDER, last_used_on=date(2026, 1, 1))
    assert not rules.welder_valid(certificate, date(2026, 1, 2), process="111")
    assert not rules.welder_valid(certificate, date(2026, 1, 2), process="135", position="PE")


@given(st.dates(date(2000, 1, 1), date(2090, 1, 1)), st.integers(0, 30))
def test_months_later_is_the_same_day_or_the_months_last(day, months):
    later = rules.add_months(day, months)
    assert (later.year * 12 + later.month) - (day.year * 12 + day.month) == months
    assert later.day == day.day or (later.day < day.day and (later + timedelta(days=1)).day == 1)


@pytest.mark.parametrize(
    ("day", "words"),
    [
        (date(2023, 1, 1), "not yet valid"),
        (date(2024, 5, 1), "valid"),
        (date(2026, 5, 1), "runs out soon"),
        (date(2026, 7, 1), "ran out"),
    ],
)
def test_the_state_of_a_certificate_in_words(day, words):
    assert rules.state(Certificate(), day) == words


def test_every_position_printed_on_the_certificate_counts_and_none_is_inferred():
    held = [Certificate(**{**WELDER, "welding_position": "PA, PB PF"})]
    day = date(2024, 3, 1)
    assert [rules.why_not_welder(held, day, process="135", position=one) for one in ("PA", "PB", "PF", "")] == [""] * 4
    assert "PE is on file, only PA, PB, PF" in rules.why_not_welder(held, day, process="135", position="PE")
    assert rules.why_not_welder(held, day, position="PC"), "PF is often printed with PC, but here it is not"
    assert "only no position" in rules.why_not_welder(
        [Certificate(**{**WELDER, "welding_position": ""})], day, position="PA"
    )


@pytest.mark.parametrize(
    ("printed", "unknown"),
    [("pa/pb + h-l045", []), ("PA-PF", ["PA-PF"]), ("PA 6G", ["6G"]), ("PI PA P", ["PI", "P"]), ("", [])],
)
def test_what_is_no_welding_position_is_named(printed, unknown):
    assert rules.unknown_positions(printed) == unknown


@pytest.mark.parametrize(
    ("other", "carried"),
    [
        ({}, True),
        ({"level": 3}, True),
        ({"level": 1}, False),
        ({"method": "UT"}, False),
        ({"expires_on": date(2026, 6, 15)}, False),
        ({"issued_on": date(2026, 6, 16)}, True),
        ({"issued_on": date(2026, 6, 17)}, False),
    ],
)
def test_a_renewed_certificate_carries_on_what_it_covers_without_a_gap(other, carried):
    renewed = Certificate(**{"expires_on": date(2031, 1, 1), **other})
    assert rules.is_carried_on(Certificate(), [Certificate(), renewed]) is carried


@pytest.mark.parametrize(("positions", "carried"), [("PA PF", True), ("PA", False), ("", False)])
def test_a_welders_is_carried_on_in_every_position_and_by_a_use(positions, carried):
    old = Certificate(**WELDER, last_used_on=date(2026, 5, 1))
    new = Certificate(**{**WELDER, "welding_position": positions}, expires_on=date(2028, 1, 1))
    used, unused = date(2026, 5, 1), date(2025, 11, 1)
    new.last_used_on = used
    assert rules.is_carried_on(old, [new]) is carried
    new.last_used_on = unused
    assert not rules.is_carried_on(old, [new]), "its six months end before"
