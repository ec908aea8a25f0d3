"""Who may do what at a site on a day, person by person: roles, certificates and release authority put together. Pure.

It says what a person may do at all. Whether somebody did the work themselves is decided for each order and each hold.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from assets_app.people import qualification_rules as worth
from assets_app.people import rules
from assets_app.people.qualification_rules import Certificate

NO_ROLE = "not by role"

# deed -> in words, in the order of the table of roles; a test holds it to the deeds of ``rules.MAY``.
DEEDS = {
    "read": "read everything here",
    "order.raise": "raise an order",
    "order.plan": "plan and give out an order",
    "order.work": "do an order, or its steps",
    "order.verify": "verify an order that another has done",
    "order.cancel": "cancel an order",
    "inspection.record": "sign a look, with a certificate for its method",
    "bolt_check.record": "sign a bolt check",
    "evidence.add": "add or mark a photo",
    "finding.raise": "call a finding graver",
    "finding.lower": "call a finding milder, with an engineer's certificate",
    "finding.assess": "sign that a finding may stand, with an engineer's certificate",
    "finding.close": "close a finding; a grave one only as an engineer",
    "hold.place": "place a hold",
    "hold.release": "lift a hold, named as release authority and never after own work",
    "deferral.sign": "sign that work is put off",
    "reading.post": "post a reading",
    "counter.change": "set up counters and meters",
    "season.change": "set up seasons",
    "spectrum.change": "state stress spectra",
    "programme.change": "change inspection programmes",
    "sweep.owe": "ask for looks at joints like one found bad",
    "owed_look.withdraw": "withdraw a look that was asked for once",
    "policy.change": "change the settings of the site",
    "table.replace": "replace tables of values",
    "register.change": "change the register",
    "register.import": "import a register",
    "label.issue": "issue labels",
    "label.withdraw": "withdraw labels",
    "record.check": "have the chain of the record checked now",
    "account.change": "add people, make links to a password, shut accounts and open them, never one's own; "
    "of who belongs to several sites only as manager of each",
    "people.change": "give roles, put certificates on file and end them, never one's own; correct email addresses",
}


@dataclass(frozen=True)
class Holder:
    """What a person holds at the site."""

    roles: frozenset[str]
    release_authority: bool
    certificates: Sequence[Certificate]


@dataclass(frozen=True)
class Cell:
    """Whether the person may, and in words what exactly, or why not."""

    may: bool
    words: str


def row(holder: Holder, on: date) -> list[tuple[str, Cell]]:
    """One cell for each of ``COLUMNS``, with its name."""
    return [(name, judge(holder, on)) for name, judge in COLUMNS.items()]


def by_role(deed: str) -> Callable[[Holder, date], Cell]:
    def judge(holder: Holder, on: date) -> Cell:
        may = rules.may(deed, holder.roles)
        return Cell(may, "yes" if may else NO_ROLE)

    return judge


def looks(holder: Holder, on: date) -> Cell:
    """The methods that the person may sign on the day, and those whose certificate does not serve."""
    bolts = ["bolt check"] if rules.may("bolt_check.record", holder.roles) else []
    if not rules.may("inspection.record", holder.roles):
        return Cell(bool(bolts), "; ".join(bolts) or NO_ROLE)
    ndt = [one for one in holder.certificates if one.kind == "ndt"]
    able, unable = [], []
    for method in sorted({one.method for one in ndt}):
        why = worth.why_not_ndt(ndt, method, on)
        ends = max((one.expires_on for one in ndt if worth.ndt_valid(one, method, on)), default=None)
        if ends is not None:
            able.append(f"{method} until {ends:%-d %b %Y}")
        else:
            unable.append(f"not {method}: {why}")
    return Cell(bool(able or bolts), "; ".join([*able, *bolts, *unable] if ndt else [*bolts, "no NDT certificate"]))


def welds(holder: Holder, on: date) -> Cell:
    if not rules.may("order.work", holder.roles):
        return Cell(False, NO_ROLE)
    running = [
        one for one in holder.certificates if one.kind == "welder" and worth.welder_valid(one, on, process=one.process)
    ]
    if not running:
        return Cell(False, worth.why_not_welder(holder.certificates, on))
    said = (
        f"{one.process}{f' in {one.welding_position}' if one.welding_position else ', no position named,'} until "
        f"{min(one.expires_on, worth.continuity_ends(one)):%-d %b %Y}"
        for one in running
    )
    return Cell(True, "; ".join(said))


def signs(deed: str) -> Callable[[Holder, date], Cell]:
    """A deed that an engineer does only with a certificate that runs; by another role it is not asked."""

    def judge(holder: Holder, on: date) -> Cell:
        if not rules.may(deed, holder.roles):
            return Cell(False, NO_ROLE)
        if deed == "hold.release" and not holder.release_authority:
            return Cell(False, "not named as release authority")
        others = holder.roles & (rules.MAY[deed] - {rules.ENGINEER})
        if others:
            return Cell(True, f"as {' and '.join(sorted(others))}")
        why = worth.why_not_engineer(holder.certificates, on)
        return Cell(not why, why or "as engineer")

    return judge


COLUMNS: dict[str, Callable[[Holder, date], Cell]] = {
    "Does work": by_role("order.work"),
    "Welds": welds,
    "Verifies": by_role("order.verify"),
    "Signs looks": looks,
    "Assesses findings": signs("finding.assess"),
    "Places holds": by_role("hold.place"),
    "Lifts holds": signs("hold.release"),
    "Puts work off": signs("deferral.sign"),
    "Gives roles": by_role("people.change"),
}


def of_roles(names: Iterable[str]) -> list[tuple[str, list[str]]]:
    """Every deed in words, with those of the roles that may do it."""
    wanted = list(names)
    return [(words, [name for name in wanted if rules.may(deed, [name])]) for deed, words in DEEDS.items()]
