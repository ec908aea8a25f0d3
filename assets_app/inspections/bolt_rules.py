"""The bolt-by-bolt sheet: what was typed read into figures, what tightening is expected, what findings follow. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from assets_app.inspections.bolt_models import BoltReading
from assets_app.inspections.inputs import FindingInput, Typed
from assets_app.inspections.kinds import LOST
from assets_app.inspections.models import Finding, Inspection
from assets_app.refusals import Unprocessable
from assets_app.register.models import BoltGroup, Site
from engineering import bolts, units
from engineering.errors import InputError

MOST_BOLTS = 150  # longer than this no sheet is filled at one go; the look is then recorded by its findings
USUAL_K = 0.2
K_RANGE = (0.05, 0.5)
LARGEST_NM, LARGEST_KN = 100_000.0, 20_000.0
FIGURES = ("torque_found", "torque_left", "tension_found", "tension_left")


@dataclass(frozen=True, kw_only=True)
class BoltInput:
    """One bolt as reported: state as found, torque and tension as typed (a plain number is in the site's unit)."""

    number: int
    state: str = ""
    torque_found: Typed = None
    torque_left: Typed = None
    tension_found: Typed = None
    tension_left: Typed = None
    witness: str = ""


@dataclass(frozen=True, kw_only=True)
class BoltSeen:
    """One bolt read: torque in N·m, tension in kN, None not measured."""

    number: int
    state: str
    torque_found_nm: float | None = None
    torque_left_nm: float | None = None
    tension_found_kn: float | None = None
    tension_left_kn: float | None = None
    witness: str = ""
    as_typed: str = ""


def read_bolts(entries: Sequence[BoltInput], count: int, site: Site) -> list[BoltSeen]:
    """The bolts that were given a state, by number; refused where a number, state or figure cannot be so."""
    seen: dict[int, BoltSeen] = {}
    for index, entry in enumerate(entries):
        where = f"bolts[{index}]."
        if not 1 <= entry.number <= count:
            raise Unprocessable("no_such_bolt", f"The bolts here are numbered 1 to {count}.", field=f"{where}number")
        if entry.number in seen:
            raise Unprocessable("bolt_twice", f"Bolt {entry.number} is given twice.", field=f"{where}number")
        read = _read(entry, site, where)
        if read is not None:
            seen[entry.number] = read
    if not seen:
        raise Unprocessable("nothing_checked", "No bolt was given a state yet.", field="bolts")
    return [seen[number] for number in sorted(seen)]


def _read(entry: BoltInput, site: Site, where: str) -> BoltSeen | None:
    given = {name: getattr(entry, name) for name in FIGURES if str(getattr(entry, name) or "").strip()}
    if entry.witness and entry.witness not in BoltReading.Witness.values:
        raise Unprocessable("unknown_witness", "A witness mark is in line, moved or none.", field=f"{where}witness")
    if not entry.state:
        if given or entry.witness:
            message = f"Say how bolt {entry.number} was found: ok, loose, missing or broken."
            raise Unprocessable("state_missing", message, field=f"{where}state")
        return None
    if entry.state not in BoltReading.State.values:
        raise Unprocessable("unknown_state", "A bolt is ok, loose, missing or broken.", field=f"{where}state")
    gone = entry.state in ("missing", "broken")
    for name in ("torque_found", "tension_found"):
        if gone and name in given:
            message = f"Bolt {entry.number} is {entry.state}: nothing can be found on it. What a new one got is 'left'."
            raise Unprocessable("found_on_a_lost_bolt", message, field=f"{where}{name}")
    figures = {
        f"{name}_{'nm' if name.startswith('torque') else 'kn'}": figure(name, typed, site, f"{where}{name}")
        for name, typed in given.items()
    }
    typed = "; ".join(f"{name.replace('_', ' ')} {str(value).strip()}" for name, value in given.items())[:120]
    return BoltSeen(number=entry.number, state=entry.state, witness=entry.witness, as_typed=typed, **figures)


def figure(name: str, typed: Any, site: Site, field: str) -> float:
    """A torque in N·m or a tension in kN; plain numbers are N·m and kN, at a site with US units lbf·ft and kip."""
    us, torque = site.units == Site.Units.US, name.startswith("torque")
    unit, default, most = ("N mm", "lbf ft" if us else "N m", LARGEST_NM) if torque else (
        "N", "kip" if us else "kN", LARGEST_KN)  # fmt: skip
    value = amount(typed, unit, default, field) / 1000
    if not 0 <= value <= most:
        what = "torque" if torque else "tension"
        raise Unprocessable("out_of_range", f"{typed} is no {what} of a bolt.", field=field)
    return value


def amount(typed: Any, unit: str, default: str, field: str) -> float:
    """What was typed in ``unit``; refused in words where it is no such quantity."""
    try:
        return units.parse(typed, unit, argument=field, default_unit=default)
    except InputError as error:
        raise Unprocessable("not_a_size", error.reason, field=field) from None


def result_of(seen: Sequence[BoltSeen], count: int) -> str:
    """A sheet with a bolt left out is no look; a lost bolt is a finding."""
    if len(seen) < count:
        return Inspection.Result.INCOMPLETE.value
    return (Inspection.Result.FINDINGS if lost_on(seen) else Inspection.Result.ACCEPTED).value


def lost_on(seen: Iterable[BoltSeen]) -> list[int]:
    return sorted(each.number for each in seen if each.state in LOST)


def findings_of(
    seen: Sequence[BoltSeen], open_ones: Sequence[Finding], *, bolt_use: float | None = None
) -> list[FindingInput]:
    """One finding a kind of loss. A bolt that an open finding of that kind holds already is that finding seen again."""
    found = []
    for kind in LOST:
        numbers = {each.number for each in seen if each.state == kind}
        for known in open_ones:
            again = sorted(numbers & set(known.bolts)) if known.kind == kind else []
            if again:
                found.append(FindingInput(finding_id=known.pk, bolts=again, bolt_use=bolt_use))
                numbers -= set(again)
        if numbers:
            found.append(FindingInput(kind=kind, bolts=sorted(numbers), bolt_use=bolt_use))
    return found


@dataclass(frozen=True)
class Tightening:
    """What each bolt should hold and what torque stands for it, with where that comes from; None is not known."""

    preload_kn: float | None
    torque_nm: float | None
    k: float
    source: str
    caution: str


def expected_tightening(group: BoltGroup, k: float | None = None) -> Tightening:
    """Preload of the register, else the specified minimum of EN 1993-1-8; torque M = k d F (``bolts.torque_nm``)."""
    factor = USUAL_K if k is None else k
    if not K_RANGE[0] <= factor <= K_RANGE[1]:
        low, high = K_RANGE
        raise Unprocessable("out_of_range", f"The factor k goes from {low} to {high}.", field="k")
    if group.tightening == BoltGroup.Tightening.SNUG:
        return Tightening(None, None, factor, "", "Snug, not preloaded: no preload and no torque is owed.")
    preload, source = group.preload_kn, "preload from the register"
    try:
        if preload is None:
            preload = bolts.preload_kn(group.size, group.property_class)
            source = "specified minimum preload 0.7 fub As, EN 1993-1-8:2005, 3.9.1"
        torque = bolts.torque_nm(preload, factor, bolts.size(group.size).d_mm)
    except InputError:
        known = "Size, property class or preload is not on file" if preload is None else "The size is not on file"
        return Tightening(preload, None, factor, source if preload else "", f"{known}: no torque can be expected.")
    how = "k as given" if k is not None else f"k = {USUAL_K:g} assumed: common practice, no source"
    caution = (
        "k comes from the bolts' own certificate; lubricant, rust and re-use change it by half and more. A torque that "
        "turns the nut again is no measure of the preload. By the torque method EN 1090-2 tightens to 1.10 times this "
        "(from memory)."
    )
    return Tightening(preload, torque, factor, f"{source}; {how}", caution)


def against_expected(seen: Sequence[BoltSeen], expected: Tightening) -> list[str]:
    """Where a torque or tension lies under what is expected, in words; no severity follows from it."""
    words = []
    pairs = (("torque", "nm", expected.torque_nm, "N·m"), ("tension", "kn", expected.preload_kn, "kN"))
    for what, suffix, right, unit in pairs:
        if not right:
            continue
        for when in ("found", "left"):
            values = [(getattr(each, f"{what}_{when}_{suffix}"), each.number) for each in seen]
            under = sorted((value / right, number) for value, number in values if value is not None and value < right)
            if under:
                each = ", ".join(f"bolt {number} ({share:.0%})" for share, number in under)
                words.append(f"{what.capitalize()} {when} under the expected {right:.0f} {unit}: {each}.")
    return words
