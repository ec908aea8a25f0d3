"""The device's own sums and sizes, held to those of the service."""

from __future__ import annotations

from math import inf, pi
from random import Random

import pytest

from assets_app.register.drawing import clock

pytestmark = pytest.mark.django_db(transaction=True)


def test_the_device_works_lost_bolts_and_sizes_out_as_the_service_does(open_page, db):
    from assets_app.inspections import bolt_loads, rules
    from engineering import units
    from engineering.errors import InputError
    from schedules.work.steel.bolts import severity_table

    groups, expected, dice = [], [], Random(20260615)
    for _ in range(250):
        facts = _bolts(dice)
        plan = bolt_loads.group_of(facts)
        lost = sorted(dice.sample(range(1, len(plan.state) + 1), min(len(plan.state), dice.randint(1, 6))))
        path, kind = dice.choice(["single", "multiple"]), dice.choice(["missing", "broken", "loose"])
        known = dice.random() > 0.1
        groups.append([plan.positions_mm.tolist() if known else None, lost, len(plan.state), path, kind])
        rise = bolt_loads.rise(facts, lost) if known else None
        severity, _ = rules.severity(
            kind, is_crack=False, single_load_path=path == "single", accepted=False,
            bolts_lost=len(lost), bolt_count=len(plan.state), bolt_rise=rise,
        )  # fmt: skip
        expected.append([rise, severity])
    page = open_page("/sign-in/")
    told = page.evaluate(
        """async ([groups, table]) => {
          const { rise, severityOf } = await import("/static/soundjoint/steel/bolt_loads.js");
          return groups.map(([points, lost, count, path, kind]) => {
            const risen = rise(points, lost);
            const rules = { order: table.order, rows: table[path] };
            return [risen === Infinity ? "never" : risen, severityOf(kind, lost.length, count, risen, rules)];
          });
        }""",
        [groups, severity_table()],
    )
    assert [(inf if rise == "never" else rise, severity) for rise, severity in told] == [
        (rise if rise is None else pytest.approx(rise, rel=1e-8), severity) for rise, severity in expected
    ]
    assert len({severity for _, severity in expected}) >= 3

    _arcs_agree(page, dice)
    _photos_hold_up_nothing(page)
    typed = ["10", "10mm", "10 mm", "1.2 cm", "0,5 in", "3/8", '3/8"', "3/8 in", "1 1/2 in", "1-1/2 in", "1,000", "x",
             "0.125", "0,125", "2 inches", "1/0 in", "5 IN",
             "-3", "1/2 mm", "12 stone", "", "1.5.2", "10 ,5"]  # fmt: skip
    read = page.evaluate(
        """async (typed) => {
          const { readSize } = await import("/static/soundjoint/steel/sizes.js");
          return ["mm", "in"].map((unit) => typed.map((text) => readSize(text, unit).mm));
        }""",
        typed,
    )
    for unit, sizes in zip(["mm", "in"], read, strict=True):
        for text, size in zip(typed, sizes, strict=True):
            try:
                right = units.parse_length_mm(text, default_unit=unit)
            except InputError:
                right = None
            if size is not None:
                assert size == pytest.approx(right), (text, unit)
            elif text.strip() not in ("", "-3"):  # a size below nothing reads on neither
                assert right is None, (text, unit)


def _photos_hold_up_nothing(page):
    """Which deeds of one order wait behind its first, refused with a status."""
    rest = ["step", "finish", "photo"]
    held = page.evaluate(
        """async (cases) => {
          const { behind } = await import("/static/soundjoint/steel/queue.js");
          const deed = (kind, seq) => ({ seq, kind, lane: "order 1", state: "waits", photo: null, refusal: null });
          return cases.map(([kind, photo, status, ...rest]) => {
            const first = { ...deed(kind, 0), state: "needs you", photo, refusal: { status } };
            const items = [first, ...rest.map((each, at) => deed(each, at + 1))];
            return [...behind(items, (item) => item === first)].map((seq) => items[seq].kind);
          });
        }""",
        [["step", None, 422, *rest], ["step", "jpeg", 422, *rest], ["step", "jpeg", 409, *rest],
         ["photo", "jpeg", 422, "photo"]],
    )  # fmt: skip
    assert held == [rest, ["finish", "photo"], rest, []]


def _arcs_agree(page, dice: Random) -> None:
    """Two ends round a tube on the device, held to the sum and to the words of the service."""
    cases = [
        [5 * dice.randrange(72), 5 * dice.randrange(72), dice.random() < 0.5, dice.uniform(20, 900)] for _ in range(200)
    ]
    cases += [[90, 90, True, 100.0], [90, 90, False, 100.0], [0, 180, False, 114.3], [350, 20, False, 114.3]]
    told, kept, notes = page.evaluate(
        """async (cases) => {
          const { arcMm, between, clock, filled, suggested } = await import("/static/soundjoint/steel/arc.js");
          const arcs = cases.map(([first, second, longer, diameter]) => {
            const arc = between(first, second, { longer }), mm = arcMm(diameter, arc.span);
            return { ...arc, mm, said: suggested(mm), clock: clock(arc.middle) };
          });
          const held = [["", "", "60 mm"], ["45", "", "60 mm"], ["60 mm", "60 mm", ""], ["", "60 mm", "60 mm"]];
          const { noteOf } = await import("/static/soundjoint/steel/run_touch.js");
          const note = (ends, longer, run, drawn) => noteOf({ ends, longer }, run, drawn);
          const notes = [note([350, 20], false, {}, true), note([40, 10], false, { total: 300 }, false),
            note([90, 90], true, {}, false), note([90, 90], false, {}, true), note([90], false, {}, false)];
          return [arcs, [...held.map((each) => filled(...each)), arcMm(null, 60), suggested(null)], notes];
        }""",
        cases,
    )
    for (first, second, longer, diameter), arc in zip(cases, told, strict=True):
        shorter = min((second - first) % 360, (first - second) % 360)
        assert arc["span"] == (360 - shorter if longer else shorter)
        assert {arc["start"], arc["end"]} == {first, second}
        assert (arc["start"] + arc["span"]) % 360 == arc["end"]
        assert (arc["start"] + arc["span"] / 2) % 360 == arc["middle"]
        assert arc["mm"] == pytest.approx(pi * diameter * arc["span"] / 360)
        assert arc["clock"] == clock(arc["middle"])
        if arc["span"]:
            assert 0 <= int(arc["said"].removesuffix(" mm")) - arc["mm"] < 1, "never said shorter than it is"
        else:
            assert arc["said"] == "", "no length from one place"
    assert [row["now"] for row in kept[:4]] == ["60 mm", "45", "", ""], "what was typed, or taken out, stays so"
    assert kept[4:] == [None, ""], "an unknown diameter gives no length"
    assert notes == [
        "From 11:40 to 12:40 o'clock, clockwise. Its length is from the drawing, not measured with a rule.",
        "From 10 to 40 mm from the datum end.",
        "All round.",
        "",
        "",
    ]


def _bolts(dice: Random):
    """A bolt group as the register might know it: a ring, a grid, by coordinates, on a line."""
    from assets_app.inspections.bolt_loads import GroupFacts

    if dice.random() < 0.4:
        return GroupFacts(bolt_count=dice.randint(1, 24), pattern="ring", ring_diameter_mm=dice.choice([200, 333.3]))
    if dice.random() < 0.6:
        rows, columns = dice.randint(1, 4), dice.randint(1, 5)
        return GroupFacts(
            bolt_count=rows * columns, pattern="grid", rows=rows, row_pitch_mm=dice.choice([60, 71.5]),
            column_pitch_mm=dice.choice([60, 90.0]),
        )  # fmt: skip
    places = [(dice.uniform(-300, 300), dice.uniform(-300, 300)) for _ in range(dice.randint(2, 10))]
    return GroupFacts(bolt_count=len(places), pattern="custom", positions=tuple(places))
