"""What the device needs for a bolt sheet: the bolts, what they should hold, and the table by which it judges a loss."""

from __future__ import annotations

from typing import Any

from assets_app.inspections import bolt_loads, bolt_rules, rules
from assets_app.inspections.bolt_sheet_actions import group_of
from assets_app.inspections.models import SEVERITY_ORDER
from assets_app.refusals import Refused
from assets_app.register.joint_drawing import pattern_of
from assets_app.register.models import BoltGroup, Joint, Site
from assets_app.register.tightening_order import order_words, tightening_order

MEASURES = ("lost", "rise", "share")  # of the severity table: what lost bolts are judged by where no load is given


def sheet_facts(joint: Joint, site: Site) -> dict[str, Any] | None:
    """The bolts of a joint as a sheet takes them; None: no sheet to fill. ``points`` in mm; None: not known."""
    try:
        group, count = group_of(joint)
    except Refused:
        return None
    pattern, plan = pattern_of(group), bolt_loads.group_of(bolt_loads.GroupFacts.of(group))
    expected = bolt_rules.expected_tightening(group)
    us = site.units == Site.Units.US
    return {
        "count": count,
        "order": tightening_order(pattern),
        "order_words": order_words(pattern),
        "points": None if plan is None else plan.positions_mm.tolist(),
        "path": "single" if joint.is_single_load_path else "multiple",
        "first": "tension" if group.tightening == BoltGroup.Tightening.TENSION else "torque",
        "units": {"torque": "lbf·ft" if us else "N·m", "tension": "kip" if us else "kN"},
        "expected": {
            "torque_nm": expected.torque_nm,
            "preload_kn": expected.preload_kn,
            "source": expected.source,
            "caution": expected.caution,
        },
    }


def severity_table() -> dict[str, Any]:
    """Severities from the mildest, and for each sort of load path the steps ``[measure, from, severity]``."""
    rows = [row for row in rules.shipped_table().rows.values() if row["measure"] in MEASURES]
    steps = {path: [[row["measure"], row["from"], row[path]] for row in rows] for path in ("single", "multiple")}
    return {"order": list(SEVERITY_ORDER), **steps}
