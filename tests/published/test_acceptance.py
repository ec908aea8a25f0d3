"""Limits of weld imperfections against published tables.

Sources, each read in a third party's copy and never on the standard's own page: ISO 5817:2014 and :2023
Table 1 (``seen``); rows marked ``memory`` are recalled and say so. AWS D1.1:2020 Table 8.1, metric figures.
"""

import pytest

from engineering.acceptance import judge, level_for
from engineering.tables import FROM_MEMORY, PUBLISHED

pytestmark = pytest.mark.published

SHORT = {"length_mm": 10.0, "weld_length_mm": 200.0}

# number, level, edition, facts, limit printed for a wall of 8 mm / throat of 5 mm / width of 12 mm, worked by hand
ISO_SEEN = [
    (2017, "D", "2014", {"wall_mm": 8, "joint": "butt"}, 2.4),  # 0.3 s max 3
    (2017, "D", "2014", {"wall_mm": 12, "joint": "butt"}, 3.0),
    (2017, "C", "2014", {"wall_mm": 8, "joint": "butt"}, 1.6),  # 0.2 s max 2
    (2017, "C", "2014", {"wall_mm": 12, "joint": "butt"}, 2.0),
    (2017, "C", "2023", {"wall_mm": 8, "throat_mm": 5, "joint": "fillet"}, 1.0),
    (2025, "D", "2014", {"wall_mm": 8}, 1.6),  # 0.2 t max 2
    (2025, "C", "2014", {"wall_mm": 8}, 0.8),  # 0.1 t max 1
    (402, "C", "2023", {"wall_mm": 12, "throat_mm": 8, **SHORT}, 0.8),  # 0.1 s max 1.5
    (402, "D", "2023", {"wall_mm": 12, "throat_mm": 8, **SHORT}, 1.6),  # 0.2 s max 2
    (4021, "D", "2014", {"wall_mm": 8, **SHORT}, 1.6),  # 0.2 t max 2
    (5011, "B", "2014", {"wall_mm": 8}, 0.4),  # 0.05 t max 0.5
    (5012, "B", "2023", {"wall_mm": 20}, 0.5),
    (5011, "C", "2014", {"wall_mm": 4}, 0.4),  # 0.1 t max 0.5
    (5011, "C", "2023", {"wall_mm": 8}, 0.5),
    (5011, "D", "2014", {"wall_mm": 4}, 0.8),  # 0.2 t max 1
    (5012, "D", "2023", {"wall_mm": 8}, 1.0),
    (5013, "B", "2014", {"wall_mm": 8, **SHORT}, 0.4),
    (5013, "C", "2014", {"wall_mm": 8, **SHORT}, 0.8),
    (5013, "D", "2014", {"wall_mm": 8, **SHORT}, 1.6),
    (502, "B", "2014", {"width_mm": 12}, 2.2),  # 1 + 0.1 b max 5
    (502, "C", "2023", {"width_mm": 12}, 2.8),  # 1 + 0.15 b max 7
    (502, "D", "2023", {"width_mm": 12}, 4.0),  # 1 + 0.25 b max 10
    (503, "B", "2014", {"width_mm": 12}, 2.2),
    (503, "C", "2014", {"width_mm": 12}, 2.8),
    (503, "D", "2014", {"width_mm": 12}, 4.0),
    (503, "D", "2014", {"width_mm": 30}, 5.0),
    (504, "B", "2023", {"wall_mm": 8, "width_mm": 5}, 2.0),  # 1 + 0.2 b max 3
    (504, "C", "2014", {"wall_mm": 8, "width_mm": 4}, 3.4),  # 1 + 0.6 b max 4
    (504, "C", "2023", {"wall_mm": 8, "width_mm": 4}, 2.8),  # 1 + 0.45 b
    (504, "D", "2014", {"wall_mm": 8, "width_mm": 3}, 4.0),  # 1 + 1.0 b max 5
    (506, "D", "2014", {"width_mm": 12}, 2.4),  # 0.2 b
    (5071, "B", "2023", {"wall_mm": 8}, 0.8),
    (5071, "C", "2023", {"wall_mm": 8}, 1.2),
    (5071, "D", "2023", {"wall_mm": 8}, 2.0),
    (5071, "B", "2023", {"wall_mm": 2}, 0.4),  # t 0.5-3: 0.2 + 0.1 t
    (5071, "D", "2023", {"wall_mm": 2}, 0.7),  # t 0.5-3: 0.2 + 0.25 t
    (5072, "B", "2014", {"wall_mm": 8}, 2.0),
    (5072, "C", "2014", {"wall_mm": 8}, 3.0),
    (5072, "D", "2023", {"wall_mm": 8}, 4.0),
    (509, "B", "2023", {"wall_mm": 8, **SHORT}, 0.4),
    (511, "C", "2023", {"wall_mm": 8, **SHORT}, 0.8),
    (511, "D", "2014", {"wall_mm": 6, **SHORT}, 1.5),  # 0.25 t max 2
    (512, "B", "2014", {"throat_mm": 5}, 2.25),  # 1.5 + 0.15 a
    (512, "C", "2014", {"throat_mm": 5}, 2.75),  # 2 + 0.15 a
    (512, "D", "2023", {"throat_mm": 5}, 3.0),  # 2 + 0.2 a
    (515, "C", "2014", {"wall_mm": 8, **SHORT}, 0.8),
    (515, "D", "2014", {"wall_mm": 8, **SHORT}, 1.6),
    (5213, "C", "2014", {"wall_mm": 8, "throat_mm": 5, **SHORT}, 0.8),  # 0.3 + 0.1 a max 1
    (5213, "C", "2023", {"wall_mm": 8, "throat_mm": 9, **SHORT}, 1.0),
    (5213, "D", "2023", {"wall_mm": 8, "throat_mm": 9, **SHORT}, 1.2),  # 0.3 + 0.1 a max 2
    (5214, "C", "2014", {"throat_mm": 5}, 2.0),  # 1 + 0.2 a max 4
    (617, "B", "2023", {"wall_mm": 8, "throat_mm": 5}, 1.0),  # 0.5 + 0.1 a max 2
    (617, "C", "2023", {"wall_mm": 8, "throat_mm": 5}, 1.5),  # 0.5 + 0.2 a max 3
    (617, "D", "2023", {"wall_mm": 8, "throat_mm": 5}, 2.5),  # 1 + 0.3 a max 4
]

ISO_MEMORY = [
    (515, "B", "2014", {"wall_mm": 8, **SHORT}, 0.4),
    (5214, "B", "2014", {"throat_mm": 5}, 1.75),
    (2017, "D", "2014", {"wall_mm": 2, "joint": "butt"}, 0.6),
    (5013, "B", "2023", {"wall_mm": 8, **SHORT}, 0.4),  # read in the 2014 edition only
]


@pytest.mark.parametrize(("number", "level", "edition", "facts", "limit"), ISO_SEEN)
def test_iso_5817_table_1_limit_as_copied(number, level, edition, facts, limit):
    """ISO 5817 Table 1, third parties' copies."""
    at = judge(number, level=level, edition=edition, size_mm=limit, **facts)
    beyond = judge(number, level=level, edition=edition, size_mm=limit + 0.1, **facts)
    assert at.accepted is True
    assert at.limit_mm == pytest.approx(limit, abs=1e-9)
    assert beyond.accepted is False
    assert beyond.excess_mm == pytest.approx(0.1)
    assert at.status == PUBLISHED


@pytest.mark.parametrize(("number", "level", "edition", "facts", "limit"), ISO_MEMORY)
def test_iso_5817_limit_from_memory_says_so(number, level, edition, facts, limit):
    """From memory: not read anywhere in that edition."""
    at = judge(number, level=level, edition=edition, size_mm=limit, **facts)
    assert (at.accepted, at.status) == (True, FROM_MEMORY)
    assert judge(number, level=level, edition=edition, size_mm=limit + 0.1, **facts).accepted is False


@pytest.mark.parametrize("level", ["B", "C", "D"])
@pytest.mark.parametrize("number", [100, 104, 401, 510])
def test_iso_5817_never_permits_cracks_lack_of_fusion_or_burn_through(number, level):
    """ISO 5817:2014 Table 1, copy: 'no' at all three levels."""
    assert judge(number, level=level, size_mm=0.1, wall_mm=10).accepted is False


@pytest.mark.parametrize(
    ("number", "level"), [(2017, "B"), (2025, "B"), (402, "B"), (4021, "B"), (4021, "C"), (506, "B"), (506, "C"),
                          (5213, "B"), (601, "B"), (601, "C")]
)  # fmt: skip
def test_iso_5817_not_permitted_cells(number, level):
    """ISO 5817 Table 1, copies."""
    assert judge(number, level=level, size_mm=0.1, wall_mm=10, joint="butt").accepted is False


@pytest.mark.parametrize(
    ("joint", "level", "least"),
    [("butt", "B", 150), ("butt", "C", 110), ("butt", "D", 90), ("fillet", "B", 110), ("fillet", "C", 100),
     ("fillet", "D", 90)],
)  # fmt: skip
def test_iso_5817_toe_angle(joint, level, least):
    """ISO 5817:2014 Table 1, copy."""
    assert judge(505, level=level, angle_deg=least, wall_mm=10, joint=joint).accepted is True
    assert judge(505, level=level, angle_deg=least - 1, wall_mm=10, joint=joint).accepted is False


@pytest.mark.parametrize(
    ("code", "facts", "largest"),
    [
        ("AWS static", {"wall_mm": 10, "length_mm": 100}, 1.0),
        ("AWS static", {"wall_mm": 10, "length_mm": 50}, 2.0),
        ("AWS static", {"wall_mm": 25, "length_mm": 500}, 2.0),
        ("AWS cyclic", {"wall_mm": 10, "transverse": True}, 0.25),
        ("AWS cyclic", {"wall_mm": 10, "transverse": False}, 1.0),
    ],
)
def test_aws_undercut(code, facts, largest):
    """AWS D1.1:2020 Table 8.1 (7), copy."""
    assert judge(5011, code=code, size_mm=largest, **facts).accepted is True
    assert judge(5011, code=code, size_mm=largest + 0.05, **facts).accepted is False


@pytest.mark.parametrize(("leg", "short_of_leg"), [(5, 2.0), (6, 2.5), (8, 3.0), (12, 3.0)])
def test_aws_undersize_fillet(leg, short_of_leg):
    """AWS D1.1:2020 Table 8.1 (6), copy: over at most 10 % of the length."""
    shortfall = short_of_leg / 2**0.5 - 1e-6
    facts = {"leg_mm": leg, "weld_length_mm": 300}
    assert judge(5213, code="AWS static", size_mm=shortfall, length_mm=30, **facts).accepted is True
    assert judge(5213, code="AWS static", size_mm=shortfall, length_mm=31, **facts).accepted is False
    assert judge(5213, code="AWS static", size_mm=shortfall + 0.01, length_mm=30, **facts).accepted is False


def test_aws_porosity_static_sums():
    """AWS D1.1:2020 Table 8.1 (8), copy: 10 mm in 25 mm and 20 mm in 300 mm."""
    facts = {"joint": "fillet", "size_mm": 2}
    assert judge(2017, code="AWS static", pore_sum_25_mm=10, pore_sum_300_mm=20, **facts).accepted is True
    assert judge(2017, code="AWS static", pore_sum_25_mm=11, pore_sum_300_mm=20, **facts).accepted is False
    assert judge(2017, code="AWS static", pore_sum_25_mm=10, pore_sum_300_mm=21, **facts).accepted is False
    assert judge(2017, code="AWS static", size_mm=2, joint="butt", transverse=True).accepted is False


def test_aws_porosity_cyclic_one_in_100_mm():
    """AWS D1.1:2020 Table 8.1 (8), copy: one pore of at most 2.5 mm in 100 mm."""
    facts = {"code": "AWS cyclic", "joint": "fillet"}
    assert judge(2017, size_mm=2.5, pores_per_100_mm=1, **facts).accepted is True
    assert judge(2017, size_mm=2.6, pores_per_100_mm=1, **facts).accepted is False
    assert judge(2017, size_mm=1.0, pores_per_100_mm=2, **facts).accepted is False


@pytest.mark.parametrize(
    ("execution", "number", "level"),
    [("EXC1", 5011, "D"), ("EXC2", 5011, "C"), ("EXC2", 506, "D"), ("EXC2", 601, "D"), ("EXC2", 2025, "D"),
     ("EXC3", 506, "B"), ("EXC4", 5011, "B")],
)  # fmt: skip
def test_level_by_execution_class(execution, number, level):
    """EN 1090-2:2018 7.6.1, copy."""
    assert level_for(execution, number) == level
