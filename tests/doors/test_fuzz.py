"""The API under content that nobody meant: made from its own schema, and good content with one thing spoilt.

Whatever comes: no server error, every refusal is problem+json, every answer is as the schema says.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from django.db import transaction
from django.test import Client
from django.test.utils import override_settings
from drf_spectacular.generators import SchemaGenerator
from hypothesis import HealthCheck, Phase, given, seed, settings
from jsonschema import Draft202012Validator

from tests.doors.rows import ROWS
from tests.doors.world import HERE

pytestmark = [pytest.mark.django_db, pytest.mark.hostile]
SEED, EXAMPLES = 20260615, 2
ROLES = ("engineer", "technician")
NASTY: list[Any] = [
    10**30,
    -1,
    2**63,
    1e308,
    float("inf"),
    "nan",
    "-inf",
    "1e999",
    "a\x00b",
    "\ud800",
    "9" * 5000,
    "0001-01-01",
    "9999-12-31T23:59:59Z",
    "0001-01-01T00:00:00+14:00",
    None,
    True,
    "",
    [],
    {},
    [[[[1]]]],
    {"a": {"b": [None]}},
]
DESCRIBED = SchemaGenerator().get_schema(request=None, public=True)
VERBS = {"get", "post", "put", "patch", "delete"}


# What is wrong with an answer -----------------------------------------------------------------------------------------


def faults(response: Any, operation: dict[str, Any] | None = None) -> list[str]:
    """Server errors, refusals that are no problem+json, and what the schema does not know."""
    status, kind = response.status_code, response.headers.get("Content-Type", "").split(";")[0]
    if status >= 500:
        return [f"{status} {response.content[:300]!r}"]
    if status >= 400:
        if kind != "application/problem+json":
            return [f"{status} is {kind}"]
        told = json.loads(response.content)
        lacking = {"type", "title", "status", "code", "detail"} - set(told)
        return [f"{status} lacks {lacking}"] if lacking or told["status"] != status else []
    if operation is None or kind != "application/json":
        return []
    known = operation["responses"].get(str(status))
    if known is None:
        return [f"{status} is not described"]
    shape = known.get("content", {}).get("application/json", {}).get("schema")
    if shape is None:
        return []
    checker = Draft202012Validator({**shape, "components": DESCRIBED["components"]})
    return [
        f"{'/'.join(map(str, error.absolute_path))}: {error.message[:200]}"
        for error in checker.iter_errors(json.loads(response.content))
    ][:3]


def described(path: str, verb: str) -> dict[str, Any] | None:
    """The operation of a real address."""
    for pattern, item in DESCRIBED["paths"].items():
        parts, given_parts = pattern.strip("/").split("/"), path.strip("/").split("/")
        fits = len(parts) == len(given_parts) and all(
            a == b or a.startswith("{") for a, b in zip(parts, given_parts, strict=True)
        )
        if fits and verb in item:
            return item[verb]
    return None


# Made from the schema -------------------------------------------------------------------------------------------------

GENERATED = schemathesis.openapi.from_dict(DESCRIBED)
OPERATIONS = {
    f"{each.ok().method.upper()} {each.ok().path}": each.ok()
    for each in GENERATED.get_all_operations()
    if each.ok().path.startswith("/api/")
}


@pytest.mark.parametrize("key", OPERATIONS)
def test_content_made_from_the_schema_meets_no_server_error(key, door):
    operation = OPERATIONS[key]
    said = DESCRIBED["paths"][operation.path][operation.method.lower()]

    @seed(SEED)
    @settings(
        max_examples=EXAMPLES,
        phases=[Phase.generate],
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy())
    def run(case):
        for role in ROLES:
            response = door.send(role, HERE, case.method, case.formatted_path, query=case.query, body=case.body)
            assert not faults(response, said), (
                case.formatted_path,
                case.query,
                str(case.body)[:300],
                response.content[:300],
            )

    run()


# Good content with one thing spoilt -----------------------------------------------------------------------------------


def spoilt(content: Any) -> Iterator[tuple[str, Any]]:
    """The content with one of its values replaced by each of the nasty ones in turn."""
    for place in _places(content):
        for nasty in NASTY:
            changed = copy.deepcopy(content)
            holder = changed
            for step in place[:-1]:
                holder = holder[step]
            holder[place[-1]] = nasty
            yield f"{'.'.join(map(str, place))} = {str(nasty)[:40]!r}", changed


def _places(content: Any, way: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    pairs = content.items() if isinstance(content, dict) else enumerate(content) if isinstance(content, list) else ()
    for name, value in pairs:
        yield (*way, name)
        yield from _places(value, (*way, name))


WRITTEN = [
    key for key, row in ROWS.items() if key.split()[1].startswith("api-") and not key.startswith("GET") and not row.form
]


@pytest.mark.parametrize("key", WRITTEN)
def test_good_content_with_one_thing_spoilt_meets_no_server_error(key, door):
    wrong = []
    for what, content in spoilt(ROWS[key].sent(door.world)):
        response = door.go(key, "engineer", HERE, sent=content, raises=False)
        wrong += [
            f"{what}: {fault}"
            for fault in faults(response, described(response.request["PATH_INFO"], key.split()[0].lower()))
        ]
    assert not wrong, "\n".join(wrong[:12])


LISTS = [key for key, row in ROWS.items() if key.startswith("GET api-") and row.guard == "signed in"]


@pytest.mark.parametrize("key", LISTS)
def test_a_list_asked_for_nonsense_meets_no_server_error(key, door):
    query = {"page_size": "9" * 40, "cursor": "AAAA", "site": str(10**30), "joint": "a\x00b", "asset": "nan"}
    query |= {"person": "-1", "since": "0000-00-00", "due_before": "10000-01-01", "order": str(2**63), "deed": "\x00"}
    wrong = []
    for name, value in query.items():
        response = door.go(key, "engineer", HERE, sent={name: value}, raises=False)
        wrong += [f"{name}: {fault}" for fault in faults(response)]
    assert not wrong, "\n".join(wrong)


RAW = {
    "nesting": b"[" * 100_000,
    "half a number": b'{"site": 1e',
    "no utf-8": b'{"name": "\xff\xfe"}',
    "endless digits": b'{"site": ' + b"9" * 10_000 + b"}",
    "not a number": b'{"value": NaN}',
    "a list": b"[]",
    "a word": b'"x"',
    "nothing": b"",
}


@pytest.mark.parametrize("what", RAW)
def test_raw_rubbish_is_refused_as_a_problem(what, door):
    for path in ("/api/v1/readings/", "/api/v1/assets/", "/api/v1/orders/", "/api/v1/inspections/", "/api/v1/holds/"):
        response = door.send("engineer", HERE, "POST", path, raw=RAW[what])
        assert 400 <= response.status_code < 500, (path, response.content[:300])
        assert not faults(response), path


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/xml", "multipart/form-data", "application/json; charset=latin"]
)
def test_another_content_type_is_refused_as_a_problem(kind, door):
    response = door.send("engineer", HERE, "POST", "/api/v1/readings/", raw=b"x=1", kind=kind)
    assert response.status_code in (400, 415, 422)
    assert not faults(response)


@override_settings(DATA_UPLOAD_MAX_MEMORY_SIZE=1000)
def test_too_much_at_once_is_refused_as_a_problem(door):
    response = door.send("engineer", HERE, "POST", "/api/v1/readings/", raw=b'{"note": "' + b"x" * 5000 + b'"}')
    assert response.status_code in (400, 413)
    assert not faults(response)


def test_an_address_that_is_none_is_refused_as_a_problem(door):
    with transaction.atomic():
        assert not faults(Client().get("/api/v1/nonsense/"))
