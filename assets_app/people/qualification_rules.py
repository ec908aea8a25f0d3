"""Who is qualified for what on a day. Pure; the day is an argument.

Levels after ISO 9712:2021 (level 2 interprets and reports; level 1 works under instruction) and a welder's six months
after ISO 9606-1:2017 clause 9.2: both from memory, and common practice; a site's own procedure rules.

The welding positions are those printed on the welder's certificate, each by its symbol after ISO 6947. They are
compared one by one. ISO 9606-1 lets a test in one position qualify for others; that is for whoever issues the
certificate to work out and print: nothing is inferred here, which is the safe side.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Protocol

LEVEL_TO_INTERPRET = 2
CONTINUITY_MONTHS = 6
NOT_NDT = frozenset({"BC"})  # a bolt check is a mechanic's work

# Symbol -> what a welder says. ISO 6947:2019, tables of main and inclined positions; from memory.
POSITIONS = {
    "PA": "flat",
    "PB": "horizontal fillet",
    "PC": "horizontal",
    "PD": "overhead fillet",
    "PE": "overhead",
    "PF": "vertical up",
    "PG": "vertical down",
    "PH": "pipe, up",
    "PJ": "pipe, down",
    "PK": "pipe, orbital",
    "H-L045": "pipe at 45°, up",
    "J-L045": "pipe at 45°, down",
    "K-L045": "pipe at 45°, orbital",
}


class Certificate(Protocol):
    """The columns of a ``Qualification`` that the rules read."""

    kind: str
    method: str
    level: int | None
    process: str
    welding_position: str  # as printed, such as "PA PB PF"
    issued_on: date
    expires_on: date
    last_used_on: date | None


def needs_ndt(method: str) -> bool:
    """Whether an inspection by ``method`` needs a certificate: every NDT method does, visual too."""
    return method not in NOT_NDT


def runs(certificate: Certificate, on: date) -> bool:
    """Whether the certificate had been issued and had not run out; its last day counts."""
    return certificate.issued_on <= on <= certificate.expires_on


def ndt_valid(certificate: Certificate, method: str, on: date) -> bool:
    """Whether the certificate lets somebody interpret and sign ``method`` on the day."""
    return (
        certificate.kind == "ndt"
        and certificate.method == method
        and (certificate.level or 0) >= LEVEL_TO_INTERPRET
        and runs(certificate, on)
    )


def positions_of(printed: str) -> tuple[str, ...]:
    """The symbols of ``PA PB PF``, ``PA, PB`` or ``pa/pb``: each once, in capitals, in the order given."""
    return tuple(dict.fromkeys(word.upper() for word in re.split(r"[\s,;/+]+", printed) if word))


def unknown_positions(printed: str) -> list[str]:
    """Those that are no symbol of ISO 6947; a range such as ``PA-PF`` is none either."""
    return [symbol for symbol in positions_of(printed) if symbol not in POSITIONS]


def welder_valid(certificate: Certificate, on: date, *, process: str, position: str = "") -> bool:
    """Whether a welder may weld by ``process`` (ISO 4063) in ``position`` (ISO 6947; empty: any) on the day.

    The certificate must run and the welder must have used the process within six months before the day (counted from
    the day of issue where no use is recorded).
    """
    return (
        certificate.kind == "welder"
        and certificate.process == process
        and (not position or position in positions_of(certificate.welding_position))
        and runs(certificate, on)
        and on <= continuity_ends(certificate)
    )


def why_not_welder(certificates: Iterable[Certificate], on: date, *, process: str = "", position: str = "") -> str:
    """Why none of a welder's certificates covers the weld on the day; empty where one does.

    An empty process or position is not known: it is not compared, and the caller says so.
    """
    own = [certificate for certificate in certificates if certificate.kind == "welder"]
    if any(welder_valid(one, on, process=process or one.process, position=position) for one in own):
        return ""
    if not own:
        return "no welder's certificate is on file"
    fitting = [one for one in own if process in ("", one.process)]
    if not fitting:
        return f"no certificate for process {process} (ISO 4063) is on file, only {_listed(one.process for one in own)}"
    placed = [one for one in fitting if not position or position in positions_of(one.welding_position)]
    if not placed:
        covered = _listed(name for one in fitting for name in positions_of(one.welding_position) or ("no position",))
        return f"no certificate for position {position} is on file, only {covered}"
    running = [one for one in placed if runs(one, on)]
    if running:
        return f"the six months since the process was last used ended on {max(map(continuity_ends, running)):%-d %b %Y}"
    if all(one.issued_on > on for one in placed):
        return f"the certificate was only issued on {min(one.issued_on for one in placed):%-d %b %Y}"
    return f"the certificate ran out on {max(one.expires_on for one in placed):%-d %b %Y}"


def _listed(names: Iterable[str]) -> str:
    return ", ".join(sorted(set(names)))


def continuity_ends(certificate: Certificate) -> date:
    """Last day of the six months since the process was last used (or since issue)."""
    return add_months(certificate.last_used_on or certificate.issued_on, CONTINUITY_MONTHS)


def last_day(certificate: Certificate) -> date:
    """The day after which it counts no more: its own last day or, of a welder, that of the six months if earlier."""
    if certificate.kind == "welder":
        return min(certificate.expires_on, continuity_ends(certificate))
    return certificate.expires_on


def is_carried_on(certificate: Certificate, others: Iterable[Certificate]) -> bool:
    """Whether another certificate of the same person covers all that this one does, from its last day at the latest
    and beyond it: nothing lapses then. What is equal ends with it and carries nothing on."""
    ends = last_day(certificate)
    return any(
        _covers(other, certificate) and last_day(other) > ends and other.issued_on <= ends + timedelta(days=1)
        for other in others
    )


def _covers(other: Certificate, certificate: Certificate) -> bool:
    """Whether one certificate is for the same, or for more: a higher level, further positions."""
    return (
        (other.kind, other.method, other.process) == (certificate.kind, certificate.method, certificate.process)
        and (other.level or 0) >= (certificate.level or 0)
        and set(positions_of(other.welding_position)) >= set(positions_of(certificate.welding_position))
    )


def add_months(day: date, months: int) -> date:
    """The same day ``months`` later, or the last day of that month where it has no such day."""
    index = day.year * 12 + day.month - 1 + months
    year, month = divmod(index, 12)
    for last in (day.day, 30, 29, 28):
        try:
            return date(year, month + 1, min(last, day.day))
        except ValueError:
            continue
    raise AssertionError("every month has a 28th")


def why_not_ndt(certificates: Iterable[Certificate], method: str, on: date) -> str:
    """Why none of somebody's certificates lets them sign ``method`` on the day; empty where one does."""
    own = [certificate for certificate in certificates if certificate.kind == "ndt" and certificate.method == method]
    if any(ndt_valid(certificate, method, on) for certificate in own):
        return ""
    if not own:
        return f"no {method} certificate is on file"
    high = [certificate for certificate in own if (certificate.level or 0) >= LEVEL_TO_INTERPRET]
    if not high:
        level = max(certificate.level or 0 for certificate in own)
        return f"the {method} certificate is level {level}; signing needs level {LEVEL_TO_INTERPRET}"
    if all(certificate.issued_on > on for certificate in high):
        return f"the {method} certificate was only issued on {min(c.issued_on for c in high):%-d %b %Y}"
    return f"the {method} certificate ran out on {max(c.expires_on for c in high):%-d %b %Y}"


def why_not_engineer(certificates: Iterable[Certificate], on: date) -> str:
    """Why none of somebody's certificates lets them sign as an engineer on the day; empty where one does."""
    own = [certificate for certificate in certificates if certificate.kind == "engineer"]
    if any(runs(certificate, on) for certificate in own):
        return ""
    if not own:
        return "no engineer's certificate is on file"
    if all(certificate.issued_on > on for certificate in own):
        return f"the engineer's certificate was only issued on {min(one.issued_on for one in own):%-d %b %Y}"
    return f"the engineer's certificate ran out on {max(one.expires_on for one in own):%-d %b %Y}"


def state(certificate: Certificate, on: date, *, warn_days: int = 60) -> str:
    """``valid``, ``runs out soon``, ``ran out``, ``not yet valid`` or ``continuity lapsed``."""
    if on < certificate.issued_on:
        return "not yet valid"
    if on > certificate.expires_on:
        return "ran out"
    ends = certificate.expires_on
    if certificate.kind == "welder":
        if on > continuity_ends(certificate):
            return "continuity lapsed"
        ends = min(ends, continuity_ends(certificate))
    return "runs out soon" if (ends - on).days <= warn_days else "valid"
