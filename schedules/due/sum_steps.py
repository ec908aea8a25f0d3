"""*The sum*: the working of a due date step by step, each step with formula, figures put in, result, source, caution.

Pure over a ``WorkedOut``. The results are those the engine used; nothing is computed by another way here but for the
lines of the damage sum, which come from the same curves.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from engineering import damage
from engineering.damage import Block
from schedules.due import rating_rules
from schedules.due.rules import LIMITS
from schedules.due.sentences import day, number
from schedules.due.working import WorkedOut


@dataclass(frozen=True)
class Step:
    """One step of the working; ``figures`` is the formula with the numbers put in."""

    title: str
    formula: str
    figures: str
    result: str
    source: str = ""
    status: str = ""
    caution: str = ""
    blocks: tuple[Block, ...] = field(default=())


def steps(worked: WorkedOut) -> list[Step]:
    """All steps that could be worked, in order; what could not be worked is a step that says what is missing."""
    return [*_damage_steps(worked), *_window_steps(worked), *_plain_steps(worked), _earliest(worked)]


def _unit(worked: WorkedOut) -> str:
    return worked.curve.unit if worked.curve else "counts"


def _on(worked: WorkedOut, limit: str) -> date | None:
    return worked.day(worked.due.on[limit])


def _missing(worked: WorkedOut, limit: str) -> Step | None:
    items = [item for item in worked.rated.missing if item.limit == limit]
    if not items:
        return None
    return Step(
        title=f"{limit.capitalize()}: unrated",
        formula="",
        figures="",
        result="missing: " + "; ".join(f"{item.figure} ({item.to_do})" for item in items),
        caution="Not computed is not the same as not due: have the figure found.",
    )


def _damage_steps(worked: WorkedOut) -> list[Step]:
    lacking = _missing(worked, "damage")
    if lacking:
        return [lacking]
    rated, inputs, unit = worked.rated, worked.rated.inputs, _unit(worked)

    def given(name: str) -> str:
        return number(inputs[name])

    blocks = damage.working(
        [pair[0] for pair in inputs["bins"]],
        [pair[1] for pair in inputs["bins"]],
        inputs["category_mpa"],
        kind=inputs["stress_kind"],
        gamma_mf=inputs["gamma_mf"],
        size_factor=inputs["size_factor"],
    )
    strength = inputs["category_mpa"] * inputs["size_factor"] / inputs["gamma_mf"]
    result = [
        Step(
            title="Fatigue strength of the detail",
            formula="Δσ = Δσc · ks / γMf",
            figures=f"{given('category_mpa')} · {given('size_factor')} / {given('gamma_mf')}",
            result=f"{number(strength)} MPa at 2 million cycles",
            source=inputs.get("detail_source", "category given for this joint")
            + "; EN 1993-1-9:2005 Table 3.1, safe life",
            status=inputs.get("detail_status", ""),
            caution="A category holds only for its detail, its quality and the nominal stress.",
        ),
        Step(
            title=f"Damage by one of the counter's {unit}",
            formula="d = Σ n / N(Δσ)",
            figures=" + ".join(f"{number(b.count)}/{number(b.cycles_to_failure)}" for b in blocks if b.damage > 0)
            or "0",
            result=f"{number(rated.damage_per_count)}",
            source=f"EN 1993-1-9:2005 Annex A; ranges: {inputs['spectrum_source'] or 'no source given'}",
            status=inputs["spectrum_status"],
            caution="Ranges below the cut-off do no damage in this sum; corrosion and misalignment are not in it.",
            blocks=tuple(blocks),
        ),
    ]
    if worked.damage_now is not None:
        result.append(
            Step(
                title="Damage today",
                formula="D = d · (n − n₀)",
                figures=f"{number(rated.damage_per_count)} · "
                f"({number(worked.count_now)} − {number(worked.born_total)})",
                result=number(worked.damage_now),
                source=worked.curve.basis if worked.curve else "",
                caution="1 is the computed life used up: a reason to look, no proof of a crack or of its absence.",
            )
        )
    result.append(_damage_limit(worked))
    return result


def _damage_limit(worked: WorkedOut) -> Step:
    rated, unit = worked.rated, _unit(worked)
    path = "single load path" if worked.facts.single_path else "more than one load path"
    if not rated.damage_per_count:
        result = "never: no range reaches the cut-off"
    else:
        first, full = rated.damage_share / rated.damage_per_count, 1 / rated.damage_per_count
        on = _on(worked, "damage")
        result = f"first look at {number(first)} {unit}, life used up at {number(full)} {unit}: " + (
            day(on) if on else "not within 40 years, or answered by another method"
        )
    return Step(
        title="When the damage asks for a detailed look",
        formula="n = share / d, then n = 1 / d",
        figures=f"share {rated.damage_share:g} ({path})",
        result=result,
        source="office policy",
        status="common practice",
        caution="The share is common practice without a source; the office sets it.",
    )


def _window_steps(worked: WorkedOut) -> list[Step]:
    if worked.facts.kind != "weld" or worked.facts.method == "BC":
        return []
    lacking = _missing(worked, "growth window")
    if lacking:
        return [lacking]
    rated, inputs, unit = worked.rated, worked.rated.inputs, _unit(worked)

    def given(name: str) -> str:
        return number(inputs[name])

    result = [
        Step(
            title=f"What {worked.facts.method} finds",
            formula="POD(a) = 1 − 1 / (1 + (a / x₀)^b)",
            figures=(
                f"{inputs['detection_chance']:.0%} of the time, {inputs['access']} access, {inputs['conditions']} "
                f"conditions: {number(inputs['detectable_size_mm'])} mm of {inputs['detectable_dimension']}"
            ),
            result=f"{number(rated.detectable_mm)} mm deep",
            source=inputs["detectable_source"],
            status=inputs["detectable_status"],
            caution="A curve does not carry over from one geometry or inspector to another.",
        ),
        Step(
            title="Critical depth",
            formula="K/Kmat and σref/fy on the assessment line, Option 1",
            figures=(
                f"σ {given('peak_mpa')} MPa, t {given('wall_mm')} mm, fy {given('yield_mpa')} MPa, "
                f"Kmat {given('toughness')} MPa√m at {given('lowest_service_c')} °C"
            ),
            result=f"{number(rated.critical_mm)} mm: {inputs['critical_reason']}",
            source="BS 7910:2013 Option 1; toughness by Annex J.2.3",
            status="from memory: to be confirmed",
            caution=rating_rules.ASSUMED["residual"],
        ),
    ]
    return [*result, *_interval_steps(worked)] if not rated.unprotected else [*result, _unprotected(worked, unit)]


def _interval_steps(worked: WorkedOut) -> list[Step]:
    rated, inputs, unit = worked.rated, worked.rated.inputs, _unit(worked)

    def given(name: str) -> str:
        return number(inputs[name])

    assert rated.window_count is not None
    on, looked = _on(worked, "growth window"), worked.look_total
    target = None if looked is None else looked + rated.window_count / rated.looks
    law = inputs["growth_law"]
    return [
        Step(
            title="Growth window",
            formula="N = ∫ da / Σ n A ΔKᵐ, ΔK = Mk Y Δσ √(πa)",
            figures=(
                f"from {number(rated.detectable_mm)} to {number(rated.critical_mm)} mm by every range of the spectrum "
                f"(equivalent {given('range_mpa')} MPa at slope 3), {given('cycles_per_count')} cycles by one count"
            ),
            result=f"{number(rated.window_count)} {unit}",
            source=f"Newman–Raju, toe magnified by BS 7910 Annex M; law {law}: {inputs['growth_law_source']}",
            status=inputs["growth_law_status"],
            caution=rating_rules.ASSUMED["aspect"],
        ),
        Step(
            title="Next look by the growth window",
            formula="n = n(last look) + N / k",
            figures=f"{number(looked)} + {number(rated.window_count)} / {rated.looks}",
            result=f"at {number(target)} {unit}: {day(on) if on else 'no day within 40 years'} (early forecast)",
            source=f"{rated.looks} looks owed in the window: office policy",
            status="common practice",
        ),
    ]


def _unprotected(worked: WorkedOut, unit: str) -> Step:
    return Step(
        title="Growth window",
        formula="size found < critical size",
        figures=f"{number(worked.rated.detectable_mm)} mm is not less than {number(worked.rated.critical_mm)} mm",
        result=f"no interval of {worked.facts.method} protects this joint",
        caution="Use a method that finds less, improve access or conditions, or reduce the stress.",
    )


def _plain_steps(worked: WorkedOut) -> list[Step]:
    rows: list[Step] = []
    months = int(worked.read["calendar_months"][worked.row])
    if months:
        last = worked.programme.last_look_on or worked.day(worked.read["commissioned"])
        rows.append(
            Step(
                title="Calendar",
                formula="last look + longest time allowed",
                figures=f"{day(last)} + {months} months",
                result=day(_on(worked, "calendar")),
                source=worked.programme.source,
            )
        )
    allowed = float(worked.read["duty_count"][worked.row])
    if allowed == allowed:
        on = _on(worked, "duty")
        rows.append(
            Step(
                title="Duty",
                formula="count at last look + count allowed",
                figures=f"{number(worked.look_total)} + {number(allowed)} {_unit(worked)}",
                result=day(on) if on else "no day within 40 years, or no counter reading",
                source=worked.programme.source,
            )
        )
    return rows


def _earliest(worked: WorkedOut) -> Step:
    dated = [(on, limit) for limit in LIMITS if (on := _on(worked, limit))]
    shown = ", ".join(f"{limit} {day(on)}" for on, limit in sorted(dated, key=lambda pair: pair[0]))
    result = f"{day(worked.due_on)}: {worked.governing} governs" if worked.due_on else "no date"
    return Step(
        title="The earliest limit is the due date",
        formula="min",
        figures=shown or "no limit gives a day",
        result=result,
        caution="These figures support a decision; they do not make it: local codes, the maker's manual and licensed "
        "engineers and inspectors rule.",
    )
