"""Reads docker-compose.yml: the one home of what runs in production and with which command."""

from __future__ import annotations

import re
import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from running.processes import ROOT

FILE = ROOT / "docker-compose.yml"
_VARIABLE = re.compile(r"\$(?:\$|\{(?P<name>\w+)(?::(?P<how>[?-])(?P<rest>[^}]*))?\})")


class Missing(ValueError):
    """A variable that the file demands was not given."""


@dataclass(frozen=True)
class Part:
    """One service of the file: its command, environment and how many of it."""

    name: str
    command: list[str]
    env: dict[str, str]
    replicas: int


def read(file: Path = FILE) -> dict[str, Any]:
    """The file as it stands, variables not yet filled in."""
    document: dict[str, Any] = yaml.safe_load(file.read_text())
    return document


def filled(text: str, given: Mapping[str, str]) -> str:
    """Put values in: ``${A}``, ``${A:-default}``, ``${A:?message}``, ``$$`` for a dollar; Missing where one is owed."""

    def value(match: re.Match[str]) -> str:
        name, how, rest = match["name"], match["how"], match["rest"]
        if name is None:
            return "$"
        if given.get(name):
            return given[name]
        if how == "-":
            return rest
        raise Missing(f"{name} is not set: {rest or 'it has no default'}")

    return _VARIABLE.sub(value, text)


def part(name: str, given: Mapping[str, str], document: dict[str, Any] | None = None) -> Part:
    """The service ``name`` with its variables filled from ``given``."""
    service = (document or read())["services"][name]
    env = {key: filled(str(text), given) for key, text in service.get("environment", {}).items()}
    command = shlex.split(filled(service["command"], given))
    return Part(name, command, env, int(service.get("deploy", {}).get("replicas", 1)))
