"""The same people and orders as the tests of work."""

from tests.schedules.work.conftest import (  # noqa: F401
    all_steps,
    dated,
    engineer,
    finding,
    inspector,
    look_order,
    manager,
    mt,
    photo,
    planner,
    repair_order,
    technician,
)
