"""Keys that are none, as somebody may type them into an address or a form: no page breaks on one."""

import pytest

NONE = ["\u00b2", "9" * 30, "-1", "x"]


@pytest.fixture
def planner_s(client, person, site):
    client.force_login(person("planner", site), backend="assets_app.people.signed_in.PersonBackend")
    return client


@pytest.mark.parametrize("key", NONE)
def test_no_page_breaks_on_a_key_that_is_none(planner_s, key):
    for path, asked in [
        ("/assets/", {"site": key}),
        ("/assets/", {"after": f"A~{key}"}),
        ("/orders/", {"after": f"2026-06-15_{key}"}),
        ("/orders/", {"after": f"{key}_1"}),
        ("/orders/", {"after": "2026-13-45_1"}),
    ]:
        assert planner_s.get(path, asked).status_code == 200, (path, asked)
    for path, sent in [("/orders/raise/", {"programme": key}), ("/orders/raise/", {"finding": key})]:
        assert planner_s.post(path, sent).status_code in (404, 422), (path, sent)
