"""Every role through every door, at its own site and at another's; the doors are read from the table of addresses."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import URLPattern, get_resolver

from assets_app.people import rules
from tests.doors.rows import OWN, PUBLIC, ROWS, SIGNED_IN, Row
from tests.doors.world import ELSEWHERE, HERE, MARK, NOWHERE, SIGNED_OUT

pytestmark = pytest.mark.django_db
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
WRITES = re.compile(r"\s*(INSERT INTO|UPDATE|DELETE FROM)\s+\"?(\w+)", re.IGNORECASE)
PASSERS_BY = (("technician", HERE), ("", SIGNED_OUT))  # whom a public door is tried with
MAY_BE_WRITTEN = {"django_session"}  # what the list was asked last is remembered for the way back


# The doors ------------------------------------------------------------------------------------------------------------


def _patterns(patterns: list[Any]) -> Iterator[URLPattern]:
    for each in patterns:
        if isinstance(each, URLPattern):
            yield each
        else:
            yield from _patterns(each.url_patterns)


DOORS = {pattern.name: pattern for pattern in _patterns(get_resolver().url_patterns)}


def _declared(pattern: URLPattern) -> set[str] | None:
    """The methods that a class of views says it serves; None for a plain function, which has to be asked."""
    view = pattern.callback
    if hasattr(view, "actions"):
        return {method.upper() for method in view.actions} - {"HEAD"}
    made = getattr(view, "view_class", None) or getattr(view, "cls", None)
    if made is None:
        return None
    return {method for method in METHODS if method.lower() in made.http_method_names and hasattr(made, method.lower())}


def _with_rows(name: str) -> set[str]:
    return {key.split()[0] for key in ROWS if key.split()[1] == name}


def test_every_address_has_a_name():
    unnamed = [str(pattern.pattern) for pattern in _patterns(get_resolver().url_patterns) if not pattern.name]
    assert not unnamed, "give each of these a name in its urlpatterns, and a row in tests/doors/rows.py"


def test_every_row_is_about_a_door_that_exists():
    gone = sorted(key for key in ROWS if key.split()[1] not in DOORS)
    assert not gone, f"these addresses are gone: take their rows out of tests/doors/rows.py: {gone}"


def test_every_deed_of_a_row_stands_in_the_permission_table():
    words = {PUBLIC, SIGNED_IN, OWN}
    unknown = {key: row.guard for key, row in ROWS.items() if set(_deeds(row)) - set(rules.MAY) - words}
    assert not unknown


@pytest.mark.parametrize("name", DOORS)
def test_every_door_has_its_rows(name, door):
    """A new address, or a new method of one, is not let in without a row that says who may."""
    listed, declared = _with_rows(name), _declared(DOORS[name])
    missing = (declared or set()) - listed
    said = "add a row such as 'POST {0}': Row(<deed of people/rules.MAY>, <address>, <content>) to tests/doors/rows.py"
    assert listed, f"{DOORS[name].pattern} has no row: " + said.format(name)
    assert not missing, f"{DOORS[name].pattern} serves {missing} too: " + said.format(name)
    key = next(key for key in ROWS if key.split()[1] == name)
    for method in METHODS:
        if method not in listed:
            status = door.go(key, "engineer", HERE, method=method).status_code
            assert status == 405, f"{DOORS[name].pattern} answers {method} with {status}: refuse it, or " + said.format(
                name
            )


# Through them ---------------------------------------------------------------------------------------------------------


def _deeds(row: Row) -> tuple[str, ...]:
    return (row.guard,) if isinstance(row.guard, str) else row.guard


def _may(row: Row, role: str, where: str) -> bool:
    if row.guard == PUBLIC:
        return True
    if where == SIGNED_OUT:
        return False
    if row.guard == SIGNED_IN:
        return True
    if row.guard == OWN:
        return (role, where) == ("technician", HERE)
    return where == HERE and any(rules.may(deed, [role]) for deed in _deeds(row))


def _wanted(row: Row, where: str) -> int:
    """What somebody is answered who may not."""
    if row.guard == OWN:
        return 404
    return row.refused if where == HERE else row.outsider


def _is_refusal(response: Any) -> bool:
    return response.status_code in (401, 403, 404) or (
        response.status_code == 302 and response["Location"].startswith("/sign-in/")
    )


@pytest.mark.parametrize("key", ROWS)
def test_who_may_and_who_may_not(key, door):
    row = ROWS[key]
    wrong = []
    for role, where in door.world.people if row.guard != PUBLIC else PASSERS_BY:
        response = door.go(key, role, where)
        status, told = response.status_code, f"{role} {where}: {response.status_code} {str(_told(response))[:200]}"
        if _may(row, role, where):
            fine = 200 <= status < 400 and (row.guard == PUBLIC or not _is_refusal(response))
            if not fine and status not in row.content:
                wrong.append(f"may, but {told}")
            if row.shows and where == HERE and MARK.encode() not in response.body:
                wrong.append(f"is shown nothing of the site: {told}")
        elif where == SIGNED_OUT:
            if not (status == 401 or (status == 302 and _is_refusal(response))):
                wrong.append(f"is not asked to sign in: {told}")
        elif status != _wanted(row, where):
            wrong.append(f"may not, wanted {_wanted(row, where)}, but {told}")
        if where != HERE and MARK.encode() in response.body:
            wrong.append(f"is shown what belongs to the site: {told}")
        if door.written and (status >= 400 or key.startswith("GET") or not _may(row, role, where)):
            wrong.append(f"wrote to {sorted(set(door.written))}: {told}")
    assert not wrong, "\n".join(wrong)


HIDDEN = [key for key, row in ROWS.items() if row.guard not in (PUBLIC, SIGNED_IN)]


@pytest.mark.parametrize("key", HIDDEN)
def test_the_thing_of_another_site_answers_like_one_that_does_not_exist(key, door):
    theirs, none = (door.go(key, "engineer", ELSEWHERE, ghost=ghost) for ghost in (False, True))
    assert (theirs.status_code, _told(theirs)) == (none.status_code, _told(none))


def _told(response: Any) -> Any:
    """What the answer says, without what differs from one showing to the next."""
    if response.headers.get("Content-Type", "").endswith("json"):
        return json.loads(response.body)
    text = response.body.decode(errors="replace")
    return re.findall(r'class="(?:refusal|field-error)"[^>]*>([^<]*)', re.sub(r"\b\d{1,9}\b", "", text))  # ids as sent


FORGED = [key for key in ROWS if not key.startswith("GET") and key != "POST api-token-list"]


@pytest.mark.parametrize("key", FORGED)
def test_a_deed_sent_from_a_foreign_page_with_our_cookie_is_refused(key, door):
    assert door.go(key, "engineer", HERE, strict=True).status_code == 403
    assert not door.written


def test_nobody_without_a_role_may_do_a_deed_and_nothing_is_free_of_the_table(door):
    """The control of the matrix itself: the answers differ by person, so the rows do decide."""
    key = "POST api-season-list"
    answers = {who: door.go(key, *who).status_code for who in door.world.people}
    assert {answers[role, HERE] for role in rules.MAY["season.change"]} == {201}
    assert {answers[role, HERE] for role in rules.EVERYONE - rules.MAY["season.change"]} == {403}
    assert {answers[role, ELSEWHERE] for role in rules.EVERYONE} == {404}
    assert (answers["", NOWHERE], answers["", SIGNED_OUT]) == (404, 401)


def test_a_door_left_open_is_seen(door, monkeypatch):
    """Control: with the permission taken out of the action, the row fails."""
    from assets_app.people import queries

    monkeypatch.setattr(queries, "require", lambda person, deed, site_id: frozenset())
    with pytest.raises(AssertionError, match="may not, wanted 403"):
        test_who_may_and_who_may_not("POST api-season-list", door)
