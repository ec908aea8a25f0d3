"""Who may not do a thing hears that first, whatever was typed; who may hears what is wrong with what was typed."""

import json

import pytest
from django.test import Client

from assets_app.people import rules
from tests.doors.rows import ROWS, Row
from tests.doors.world import ELSEWHERE, HERE, World

pytestmark = pytest.mark.django_db


def _deeds(row: Row) -> tuple[str, ...]:
    return (row.guard,) if isinstance(row.guard, str) else row.guard


# Every door that writes and asks for a deed of the table of roles, straight from the rows: a new one is asked too.
WRITING = [
    key for key, row in ROWS.items()
    if not key.startswith("GET") and row.guard != "read" and set(_deeds(row)) <= set(rules.MAY)
]  # fmt: skip
NAMING = {
    *("site", "asset", "joint", "programme", "finding", "counter", "order", "person", "site_id", "asset_id"),
    *("joints", "readings", "asset_tag", "joint_tag", "deed"),
}  # what says where, or which of the deeds of a page; all else is left out, so that no form is whole
ASKED_BY_LABEL = {"POST labels", "POST api-labels"}  # a joint's first label needs the right; to print it, to read does
OFFERED = {"POST holds", *ASKED_BY_LABEL}  # a choice of the form in which the thing of another site does not stand

# Address -> what names the site or the thing in the content; all else is left out, so no form here is whole.
PAGES = {
    "/assets/new/": lambda w: {"site": w.site},
    "/assets/{w.asset}/change/": lambda w: {"name": ""},
    "/assets/{w.asset}/joints/new/": lambda w: {"tag": ""},
    "/joints/{w.weld}/change/": lambda w: {"tag": ""},
    "/imports/": lambda w: {"site": w.site},
    "/assets/{w.asset}/recordings/": lambda w: {"column": "x"},
    "/assets/{w.asset}/duty/": lambda w: {"deed": "counter"},
    "/joints/{w.weld}/spectrum/": lambda w: {"bins": "x"},
    "/counters/{w.counter}/": lambda w: {"value": "x"},
    "/counters/{w.counter}/exchange/": lambda w: {"at": "x"},
    "/readings/import/": lambda w: {"site": w.site},
}
API = {
    "POST assets/": lambda w: {"site": w.site},
    "PATCH assets/{w.asset}/": lambda w: {"commissioned_on": "soon"},
    "POST members/": lambda w: {"asset": w.asset},
    "POST joints/": lambda w: {"asset": w.asset},
    "PATCH joints/{w.weld}/": lambda w: {"kind": "glued"},
    "POST spectra/": lambda w: {"joint": w.weld},
    "POST counters/": lambda w: {"asset": w.asset},
    "PUT counters/{w.counter}/": lambda w: {"unit": ""},
    "POST readings/": lambda w: {"counter": w.counter},
}
FORMS = {
    "imports/": lambda w: {"site": w.site},
    "recordings/": lambda w: {"asset": w.asset},
    "readings/file/": lambda w: {"site": w.site},
}


def client_of(world: World, role: str) -> Client:
    client = Client()
    client.force_login(world.people[role, HERE])
    return client


@pytest.mark.parametrize("key", WRITING)
def test_whoever_may_not_hears_that_whatever_was_sent(door, key):
    row = ROWS[key]
    named = {name: value for name, value in row.sent(door.world).items() if name in NAMING}
    bodies = [named] if not named or " api-" not in key else [named, {}]
    wrong = []
    for role in rules.EVERYONE:
        if any(rules.may(deed, [role]) for deed in _deeds(row)) or key in ASKED_BY_LABEL:
            continue
        for sent in bodies:
            answer = door.go(key, role, HERE, sent=sent)
            if answer.status_code != 403 or rules.who_could(_deeds(row)[0]) not in answer.body.decode().lower():
                wrong.append(f"{role} sent {sent}: {answer.status_code} {answer.body[:200]!r}")
    answer = door.go(key, "engineer", ELSEWHERE, sent=named)
    if answer.status_code != 404 and key not in OFFERED:
        wrong.append(f"engineer of another site sent {named}: {answer.status_code}")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("address", PAGES)
def test_who_may_hears_what_is_wrong_on_a_page(door, address):
    answer = client_of(door.world, "engineer").post(address.format(w=door.world), PAGES[address](door.world))
    assert answer.status_code == 422


@pytest.mark.parametrize("door_of", API)
def test_who_may_hears_what_is_wrong_from_the_api(door, door_of):
    method, address = door_of.format(w=door.world).split()
    sent, client = json.dumps(API[door_of](door.world)), client_of(door.world, "engineer")
    answer = client.generic(method, f"/api/v1/{address}", sent, content_type="application/json")
    assert answer.status_code == 422, answer.content


@pytest.mark.parametrize(("role", "status"), [("engineer", 403), ("planner", 422)])
@pytest.mark.parametrize("named", ["site", "asset"])
def test_a_season_is_the_planners(door, role, status, named):
    sent = {named: getattr(door.world, named)}
    answer = client_of(door.world, role).post("/api/v1/seasons/", sent, content_type="application/json")
    assert answer.status_code == status, answer.content


@pytest.mark.parametrize("address", FORMS)
def test_who_may_hears_what_is_wrong_with_a_file(door, address):
    answer = client_of(door.world, "engineer").post(f"/api/v1/{address}", FORMS[address](door.world))
    assert answer.status_code == 422, answer.content


@pytest.mark.parametrize("role", ["auditor", "planner"])
def test_what_is_out_of_sight_is_answered_as_if_it_were_not_there(door, role):
    """Whether the person could do the deed at a site of their own or not."""
    outsider = Client()
    outsider.force_login(door.world.people[role, ELSEWHERE])
    for site in (door.world.site, 987_654_321):
        answer = outsider.post("/api/v1/assets/", {"site": site}, content_type="application/json")
        assert answer.status_code == 404


def test_who_takes_an_order_says_so_before_anything_is_read(door):
    """Whoever works at the site may take an order for themselves; to give it to another is the planner's."""
    world, client = door.world, client_of(door.world, "technician")
    address, own = f"/api/v1/orders/{world.order}/assign/", world.people["technician", HERE].pk
    for sent, status in (({}, 403), ({"assignee_id": world.worker}, 403), ({"assignee_id": own}, 422)):
        assert client.post(address, sent, content_type="application/json").status_code == status
