"""The same people and orders as the tests of work."""

from tests.schedules.work.conftest import dated, finding, inspector, look_order, mt  # noqa: F401
