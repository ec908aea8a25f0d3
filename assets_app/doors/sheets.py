"""Which sheets a role turns to, in its own order: the first one is where it lands."""

from __future__ import annotations

from collections.abc import Iterable

# URL name -> the word on the head strip
WORDS = {
    "due": "Due",
    "my-work": "My work",
    "put-off": "Put off",
    "holds": "Holds",
    "assets": "Assets",
    "alerts": "Alerts",
    "record": "Record",
    "imports": "Imports",
}
# role -> its sheets; where a person has several roles the one named first here decides the order
TURNS_TO: dict[str, tuple[str, ...]] = {
    "technician": ("my-work", "due", "assets", "holds", "alerts"),
    "inspector": ("my-work", "due", "assets", "holds", "alerts", "record"),
    "planner": ("due", "put-off", "holds", "assets", "my-work", "alerts", "record", "imports"),
    "engineer": ("due", "my-work", "put-off", "holds", "assets", "alerts", "record", "imports"),
    "manager": ("put-off", "due", "holds", "assets", "alerts", "record"),
    "auditor": ("record", "due", "put-off", "holds", "assets", "alerts"),
}
LEADING = ("planner", "manager", "engineer", "inspector", "technician", "auditor")


def sheets_for(roles: Iterable[str]) -> list[str]:
    """URL names in the order in which a person of these roles needs them; a person without a role sees ``assets``."""
    held = set(roles)
    ordered = [name for role in LEADING if role in held for name in TURNS_TO[role]]
    return list(dict.fromkeys(ordered)) or ["assets"]


def landing(roles: Iterable[str]) -> str:
    """The URL name on which these roles land."""
    return sheets_for(roles)[0]
