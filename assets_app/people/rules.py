"""Who may do what: one table, per site. Pure; the roles are an argument."""

from __future__ import annotations

from collections.abc import Iterable

from assets_app.people.models import RoleName

PLANNER, TECHNICIAN, INSPECTOR, ENGINEER, MANAGER, AUDITOR = (
    RoleName.PLANNER.value,
    RoleName.TECHNICIAN.value,
    RoleName.INSPECTOR.value,
    RoleName.ENGINEER.value,
    RoleName.MANAGER.value,
    RoleName.AUDITOR.value,
)
EVERYONE = frozenset({PLANNER, TECHNICIAN, INSPECTOR, ENGINEER, MANAGER, AUDITOR})
AT_WORK = EVERYONE - {AUDITOR}

# deed -> roles that may do it at a site. The auditor reads everything and writes nothing.
MAY: dict[str, frozenset[str]] = {
    "read": EVERYONE,
    "register.change": frozenset({PLANNER, ENGINEER}),
    "register.import": frozenset({PLANNER, ENGINEER}),
    "reading.post": frozenset({PLANNER, TECHNICIAN, INSPECTOR, ENGINEER}),
    "counter.change": frozenset({PLANNER, ENGINEER}),
    "season.change": frozenset({PLANNER, MANAGER}),
    "spectrum.change": frozenset({ENGINEER}),
    "programme.change": frozenset({PLANNER, ENGINEER}),
    "sweep.owe": frozenset({PLANNER, INSPECTOR, ENGINEER}),  # looks at like joints: more looks, the safe side
    "owed_look.withdraw": frozenset({ENGINEER}),
    "policy.change": frozenset({ENGINEER}),
    "inspection.record": frozenset({INSPECTOR, ENGINEER}),
    "bolt_check.record": frozenset({TECHNICIAN, INSPECTOR, ENGINEER}),
    "finding.raise": AT_WORK,  # anyone may call it graver
    "finding.lower": frozenset({ENGINEER}),
    "finding.assess": frozenset({ENGINEER}),
    "finding.close": frozenset({INSPECTOR, ENGINEER}),
    "evidence.add": AT_WORK,
    "label.issue": frozenset({PLANNER, TECHNICIAN, INSPECTOR, ENGINEER}),
    "label.withdraw": frozenset({PLANNER, ENGINEER}),  # what is stuck on the steel stops working
    "order.raise": frozenset({PLANNER, INSPECTOR, ENGINEER, MANAGER}),
    "order.plan": frozenset({PLANNER, MANAGER}),
    "order.work": frozenset({TECHNICIAN, INSPECTOR, ENGINEER}),
    "order.verify": frozenset({INSPECTOR, ENGINEER}),
    "order.cancel": frozenset({PLANNER, MANAGER}),
    "hold.place": EVERYONE,  # anyone, the auditor too: a hold is the safe side
    "hold.release": frozenset({ENGINEER, MANAGER}),  # and only with release_authority at the site
    "deferral.sign": frozenset({MANAGER, ENGINEER}),
    "people.change": frozenset({MANAGER}),
    "account.change": frozenset({MANAGER}),  # who signs in at all; of several sites: as manager of each
    "record.check": frozenset({MANAGER, AUDITOR}),  # everybody may read it; a walk along it costs the service some time
    "table.replace": frozenset({ENGINEER}),
}


def may(deed: str, roles: Iterable[str]) -> bool:
    """Whether one of ``roles`` may do ``deed``; an unknown deed raises ``KeyError``."""
    return not MAY[deed].isdisjoint(roles)


def who_could(deed: str) -> str:
    """The roles that may do ``deed``, in words: ``planner or engineer``."""
    names = [role.value for role in RoleName if role.value in MAY[deed]]
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " or " + names[-1]
