"""Who is at work in these tests: somebody who keeps the people of the site, and somebody who is kept."""

import pytest


@pytest.fixture
def manager(person, site):
    return person("manager", site)


@pytest.fixture
def fitter(person, site):
    return person("technician", site)
