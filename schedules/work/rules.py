"""What may be done to an order in which state, and the steps it starts with. Pure: no database, no clock."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from assets_app.people import rules as rights

OPEN, WAITING, PART_DONE, DONE, CLOSED, CANCELLED = "open", "waiting", "part done", "done", "closed", "cancelled"
STATES = (OPEN, WAITING, PART_DONE, DONE, CLOSED, CANCELLED)
AT_WORK = (OPEN, WAITING, PART_DONE)  # not done yet
LIVE = (*AT_WORK, DONE)  # not over yet
INSPECT, REPAIR, TIGHTEN = "inspect", "repair", "tighten"
KINDS = (INSPECT, REPAIR, TIGHTEN)

# deed -> state before -> state after. What is not here is refused.
_STAYS = {state: state for state in AT_WORK}
TRANSITIONS: dict[str, dict[str, str]] = {
    "assign": _STAYS,
    "plan": _STAYS,
    "add part": _STAYS,
    "order part": _STAYS,
    "note arrival of part": _STAYS,
    "add step": _STAYS,
    "begin waiting": {OPEN: WAITING, PART_DONE: WAITING},
    "end waiting": {WAITING: OPEN},  # to part done where something was done before: ``after_wait``
    "do step": {OPEN: OPEN, PART_DONE: PART_DONE},
    "note part done": {OPEN: PART_DONE, PART_DONE: PART_DONE},
    "finish": {OPEN: DONE, PART_DONE: DONE},
    "answer by look": {OPEN: DONE, WAITING: DONE, PART_DONE: DONE},
    "verify": {DONE: CLOSED},
    "cancel": {OPEN: CANCELLED, WAITING: CANCELLED, PART_DONE: CANCELLED},
}
# deed -> the deeds of the table of roles, any of which gives the right to it. Who takes a free order needs ``EITHER``.
WORK, PLAN = ("order.work",), ("order.plan",)
EITHER = (*WORK, *PLAN)
RIGHTS: dict[str, tuple[str, ...]] = {
    "assign": PLAN,
    "plan": PLAN,
    "add part": EITHER,
    "order part": PLAN,
    "note arrival of part": EITHER,
    "add step": EITHER,
    "begin waiting": EITHER,
    "end waiting": EITHER,
    "do step": WORK,
    "note part done": WORK,
    "finish": WORK,
    "verify": ("order.verify",),
    "cancel": ("order.cancel",),
}
COMMON = "common practice, no source"


def after(deed: str, state: str) -> str | None:
    """The state after ``deed``; None where it is not allowed. An unknown deed raises ``KeyError``."""
    return TRANSITIONS[deed].get(state)


def is_open_to(deed: str, state: str, roles: Iterable[str]) -> bool:
    """Whether one of ``roles`` may do the deed on an order in this state."""
    held = frozenset(roles)
    return after(deed, state) is not None and any(rights.may(each, held) for each in RIGHTS[deed])


def after_wait(*, anything_done: bool) -> str:
    """Where an order goes on when what it waited for has come."""
    return PART_DONE if anything_done else OPEN


def why_not(deed: str, state: str) -> str:
    """Why ``deed`` is refused, in words."""
    if state == WAITING and deed in ("do step", "note part done", "finish"):
        return "The order is waiting. End the waiting first."
    if state == DONE and deed != "verify":
        return "The work is done and waits to be verified by another person."
    if deed == "verify":
        return "There is nothing to verify yet: the work is not done."
    if state in (CLOSED, CANCELLED):
        return f"The order is {state}."
    return f"An order that is {state} cannot take this: {deed}."


@dataclass(frozen=True)
class StepText:
    """A step as an order starts with it; ``source`` is a standard, or says that there is none.

    ``sheet``: it is done bolt by bolt, on the bolt sheet.
    """

    text: str
    kind: str = "tick"  # tick, value, photo
    unit: str = ""
    required: bool = True
    source: str = COMMON
    sheet: bool = False


_SAFE = StepText("Isolated, locked off and tagged; permit in hand")
_NOTE_CONDITIONS = StepText("Surface clean: rust, paint flakes and grease off the weld and 25 mm to each side")
_LOOK: dict[str, tuple[StepText, ...]] = {
    "VT": (
        _NOTE_CONDITIONS,
        StepText(
            "Light at the surface (at least 350 lx, 500 lx advised)",
            "value",
            "lx",
            source="ISO 17637:2016, clause 4 (from memory)",
        ),
        StepText("Eye within 600 mm, at 30° or more to the surface", source="ISO 17637:2016, clause 4 (from memory)"),
    ),
    "PT": (
        StepText("Cleaned to bare metal and dry"),
        StepText("Surface temperature (10 to 50 °C)", "value", "°C", source="ISO 3452-1:2021 (from memory)"),
        StepText("Penetrant dwelt", "value", "min", source="5 to 60 min: ISO 3452-1:2021 (from memory)"),
        StepText("Developer read after 10 to 30 min", source="ISO 3452-1:2021 (from memory)"),
    ),
    "MT": (
        _NOTE_CONDITIONS,
        StepText("Field proven at the place with a test piece or meter", source="ISO 17638:2016 (from memory)"),
        StepText("Magnetised in two directions at about 90°", source="ISO 17638:2016 (from memory)"),
    ),
    "UT": (
        StepText("Probe and sensitivity set on the reference block", source="ISO 17640:2018 (from memory)"),
        StepText("Both sides of the weld scanned, or the side that was not is noted"),
    ),
    "ET": (StepText("Set on a notch of known depth in like steel", source="ISO 17643:2015 (from memory)"),),
    "RT": (
        StepText("Area cordoned, source log signed"),
        StepText("Image quality indicator seen on the film", source="ISO 17636-1:2022 (from memory)"),
    ),
    "BC": (
        StepText("Every bolt present; witness marks in line; no bare metal beside a washer", sheet=True),
        StepText("Torque or tension of each bolt checked against its sheet", sheet=True),
        StepText("Torque wrench number and its calibration date", "value"),
    ),
}
_PHOTO = StepText("Photo of the joint as it is now", "photo")
_REPAIR = (
    _SAFE,
    StepText("Load taken off: propped, chocked or lifted as the method says"),
    StepText("Photo before", "photo"),
    StepText("Defect taken out; proven gone by PT or MT before welding"),
    StepText("Welded to the written procedure; number", "value"),
    StepText("Photo after", "photo"),
    StepText("Load put back; props and tools off the asset"),
)
_TIGHTEN = (
    _SAFE,
    StepText("Bolts that turned more than a flat, or yielded, replaced and not tightened again"),
    StepText("Tightened in the order of the sheet, in two rounds", sheet=True),
    StepText("Torque or tension left", "value", "N·m or kN", sheet=True),
    StepText("Witness marks drawn across nut, washer and plate", sheet=True),
    StepText("Photo of the marks", "photo"),
)


BOLT_STEPS = frozenset(step.text for step in (*_LOOK["BC"], *_TIGHTEN) if step.sheet)


@dataclass(frozen=True)
class TemporaryWork:
    """What is put on for the work and must be off again before it is finished."""

    words: str
    on: StepText
    off: StepText


TEMPORARY: dict[str, TemporaryWork] = {
    "permit": TemporaryWork(
        "a permit", StepText("Permit in hand; its number", "value"), StepText("Permit handed back, area left safe")
    ),
    "lifting": TemporaryWork(
        "lifting",
        StepText("Lifting gear checked against its certificate, mass and plan known"),
        StepText("Lifting gear off the asset"),
    ),
    "strongbacks": TemporaryWork(
        "strongbacks",
        StepText("Strongbacks on, and where they are welded is noted"),
        StepText("Strongbacks off, their welds ground flush and the steel there looked at by MT or PT"),
    ),
    "shoring": TemporaryWork(
        "shoring or props",
        StepText("Shoring or props in place and carrying"),
        StepText("Shoring or props out, load back on the steel"),
    ),
}


def steps_for(kind: str, method: str) -> tuple[StepText, ...]:
    """The steps of a new order. An unknown kind or method raises ``KeyError``."""
    if kind == INSPECT:
        safe = StepText("Asset stopped and locked off; safe to reach")
        return (safe, *_LOOK[method], _PHOTO)
    return {REPAIR: _REPAIR, TIGHTEN: _TIGHTEN}[kind]


def title_for(kind: str, method: str, joint_tag: str, joint_name: str = "") -> str:
    """``MT of W-001 column foot``."""
    verb = {INSPECT: f"{method} of", REPAIR: "Repair", TIGHTEN: "Tighten bolts of"}[kind]
    return f"{verb} {joint_tag} {joint_name}".strip()[:160]
