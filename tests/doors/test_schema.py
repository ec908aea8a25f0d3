"""The description of our own API: valid, whole, and readable without the network."""

from __future__ import annotations

import re

import pytest
from django.contrib.staticfiles import finders
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator
from openapi_spec_validator import OpenAPIV31SpecValidator

METHODS = {"get", "post", "put", "patch", "delete"}


@pytest.fixture(scope="module")
def schema():
    GENERATOR_STATS.reset()
    return SchemaGenerator().get_schema(request=None, public=True)


@pytest.fixture(scope="module")
def operations(schema):
    return {
        f"{method.upper()} {path}": said
        for path, item in schema["paths"].items()
        for method, said in item.items()
        if method in METHODS
    }


def test_it_is_valid_openapi_3_1(schema):
    assert schema["openapi"].startswith("3.1")
    assert [str(error.message) for error in OpenAPIV31SpecValidator(schema).iter_errors()] == []


def test_it_is_made_without_a_warning(schema):
    said = [str(each) for each in (*GENERATOR_STATS._error_cache, *GENERATOR_STATS._warn_cache)]
    assert not said, "\n".join(said)


def test_every_operation_says_what_it_does_and_where_it_belongs(operations):
    assert len(operations) > 60
    silent = [key for key, said in operations.items() if not (said.get("description") or said.get("summary"))]
    loose = [key for key, said in operations.items() if not said.get("tags")]
    assert (silent, loose) == ([], [])


def test_every_operation_has_a_name_of_its_own(operations):
    names = [said["operationId"] for said in operations.values()]
    assert len(set(names)) == len(names)


def test_every_operation_tells_its_refusals_as_problem_json(operations):
    untold = [key for key, said in operations.items() if "application/problem+json" not in str(said["responses"])]
    assert not untold


def test_the_page_for_people_needs_no_network(client):
    page = client.get("/api/v1/docs/")
    assert page.status_code == 200
    text = page.content.decode()
    asked = re.findall(r'(?:src|href)="([^"]+)"', text)
    assert [each for each in asked if re.match(r"(https?:)?//", each)] == []
    scripts = [each for each in asked if each.endswith(".js")]
    assert scripts, text
    for each in scripts:
        assert finders.find(each.removeprefix("/static/").split("?")[0]), each


def test_the_page_for_people_works_under_our_own_content_policy(client):
    """No inline script and no worker from a blob without the policy's leave: else the page stays empty."""
    page = client.get("/api/v1/docs/")
    policy, text = page["Content-Security-Policy"], page.content.decode()
    inline = re.findall(r"<script(?![^>]*\bsrc=)([^>]*)>", text)
    nonces = re.findall(r"'nonce-([^']+)'", policy)
    assert all(any(nonce in attributes for nonce in nonces) for attributes in inline), (policy, inline)
