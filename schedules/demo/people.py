"""Who works at Larkmoor: one person a role and more where one is not enough. All of them invented.

Only the list: it is read where no database is. ``crew`` makes the rows.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

PASSWORD = "larkmoor-tide-table"  # noqa: S105  the demo's one public password; never on a network
PIER, DEPOT = "larkmoor-pier", "larkmoor-depot"
BOTH = (PIER, DEPOT)


class SignIn(NamedTuple):
    """One who signs in, and what to look at as that person."""

    username: str
    roles: tuple[str, ...]
    sites: tuple[str, ...]
    look_at: str


SIGN_INS: list[SignIn] = [
    SignIn("tam", ("planner",), BOTH, "what must be looked at next, why then, and what stands in the way"),
    SignIn("bram", ("technician",), (PIER,), "my next job on the pier, phone first"),
    SignIn("kez", ("technician",), (DEPOT,), "my next job at the depot; a hold she placed on a lift"),
    SignIn("ilse", ("inspector",), BOTH, "looks to make, and work of others to verify"),
    SignIn("dov", ("inspector",), BOTH, "likewise; his MT certificate is about to lapse"),
    SignIn("maren", ("engineer",), BOTH, "a growing crack under assessment; may lift holds"),
    SignIn("oriel", ("manager",), BOTH, "what is put off, since when, at what risk and cost"),
    SignIn("sep", ("auditor",), BOTH, "the record, read only"),
]
RELEASE_AUTHORITY = ("maren",)
NAMES = {
    "tam": ("Tamsin", "Quillbrook"),
    "bram": ("Bram", "Oddlestone"),
    "kez": ("Keziah", "Thornwhistle"),
    "ilse": ("Ilse", "Varnholm-Reed"),
    "dov": ("Dov", "Harrowgale"),
    "maren": ("Maren", "Locksparrow"),
    "oriel": ("Oriel", "Fenwhistle"),
    "sep": ("Septimus", "Drayfeather"),
}
NDT = {
    "ilse": ("VT", "MT", "PT", "ET"),
    "dov": ("VT", "MT", "PT", "UT"),
    "maren": ("VT",),
}
LAPSING = ("dov", "MT", 23)  # who, method, days from today
CERTIFICATE_YEARS, WELDER_YEARS = 5, 3


def sign_in_lines() -> Iterator[str]:
    """Who signs in and what to look at, a line each."""
    yield f"Password of all: {PASSWORD}"
    for each in SIGN_INS:
        where = " and ".join(slug.removeprefix("larkmoor-") for slug in each.sites)
        yield f"  {each.username:6} {', '.join(each.roles):11} {where:15} {each.look_at}"
