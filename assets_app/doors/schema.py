"""What the API's description says of every operation alike: refusals come as problem+json."""

from __future__ import annotations

from typing import Any

PROBLEM: dict[str, Any] = {
    "type": "object",
    "description": "A refusal (RFC 9457). ``code`` is stable; ``detail`` is for people; some codes carry more.",
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "code": {"type": "string"},
        "detail": {"type": "string"},
        "field": {"type": "string", "description": "which field it is about"},
        "errors": {
            "type": "array",
            "description": "with the code ``fields``: what is wrong with each",
            "items": {"type": "object", "additionalProperties": {"type": "string"}},
        },
    },
    "required": ["type", "title", "status", "code", "detail"],
    "additionalProperties": True,
}
REFUSED: dict[str, Any] = {
    "description": "Refused",
    "content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}},
}
_VERBS = ("get", "post", "put", "patch", "delete")


def tell_refusals(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """A post-processing hook of the generator: every operation may be refused, and says how."""
    schemas = result.setdefault("components", {}).setdefault("schemas", {})
    schemas["Problem"] = PROBLEM
    for item in result["paths"].values():
        for verb in _VERBS:
            if verb in item:
                item[verb]["responses"] |= {"4XX": REFUSED, "503": REFUSED}
    return result


def tell_null(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """A post-processing hook: what is left of ``nullable`` of OpenAPI 3.0 as 3.1 says it, which knows no such word."""
    _tell_null(result)
    return result


def _tell_null(node: Any) -> None:
    if isinstance(node, list):
        for each in node:
            _tell_null(each)
    if not isinstance(node, dict):
        return
    if node.get("nullable") is True:
        del node["nullable"]
        for word in ("oneOf", "anyOf"):
            if word in node:
                node[word] = [*node[word], {"type": "null"}]
        if isinstance(node.get("type"), str):
            node["type"] = [node["type"], "null"]
    for each in node.values():
        _tell_null(each)
