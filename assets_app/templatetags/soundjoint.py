"""Words and marks that every page shares: severity, due state, figures, the sheets on the head strip."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import template
from django.forms import BaseForm
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from assets_app.doors import sheets
from assets_app.inspections.kinds import KINDS
from assets_app.register import joint_drawing
from assets_app.register.models import Joint, Site
from assets_app.register.pen import SEVERITY_MARKS
from engineering.figures import grouped

register = template.Library()
RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def mark(severity: str) -> SafeString:
    """The mark of a severity as inline SVG, for eyes only: the word stands beside it."""
    return mark_safe(f'<svg viewBox="0 0 16 16" aria-hidden="true">{SEVERITY_MARKS[severity]}</svg>')  # noqa: S308


@register.simple_tag
def severity(name: str, words: str = "") -> SafeString:
    """``{% severity finding.severity %}``: mark and word; ``words`` replaces the word, the mark stays."""
    return format_html('<span class="severity" data-severity="{}">{}{}</span>', name, mark(name), words or name)


@dataclass(frozen=True)
class DueWords:
    """The due state in words; ``state`` is overdue, soon, planned, free, unrated or unprotected."""

    state: str
    words: str


def due_words(
    due_on: date | None,
    today: date,
    *,
    soon_days: int = 30,
    unrated: bool = False,
    missing: str = "",
) -> DueWords:
    """``overdue by 12 days``, ``due in 5 days``, ``planned 3 Mar``; undated ``unrated: ...`` or ``not limited``."""
    if due_on is None:
        if unrated:
            return DueWords("unrated", f"unrated: {missing}" if missing else "unrated: a figure is missing")
        return DueWords("free", "not limited")
    days = (due_on - today).days
    if days < 0:
        return DueWords("overdue", f"overdue by {_days(-days)}")
    if days == 0:
        return DueWords("soon", "due today")
    if days <= soon_days:
        return DueWords("soon", f"due in {_days(days)}")
    return DueWords("planned", f"planned {day_words(due_on, today)}")


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{grouped(count)} days"


def day_words(day: date, today: date) -> str:
    """``3 Mar``, with the year where it is not this year's."""
    words = f"{day.day} {day:%b}"
    return words if day.year == today.year else f"{words} {day.year}"


@register.simple_tag
def due_state(
    due_on: date | None, today: date, unrated: bool = False, missing: str = "", soon_days: int = 30
) -> SafeString:
    """``{% due_state row.due_on today %}``: the words in a span, the day itself in its title."""
    said = due_words(due_on, today, soon_days=soon_days, unrated=unrated, missing=missing)
    if due_on is None:
        return format_html('<span class="due" data-state="{}">{}</span>', said.state, said.words)
    return format_html(
        '<time class="due" data-state="{}" datetime="{}" title="{}">{}</time>',
        said.state,
        due_on.isoformat(),
        f"{due_on.day} {due_on:%B %Y}",
        said.words,
    )


@register.filter
def figure(value: Any) -> str:
    """A number as a person reads it: three figures, thin gaps in thousands, no false digits; words pass through."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    if not math.isfinite(value):
        return "not a number"
    if value == 0:
        return "0"
    if abs(value) < 0.001 or abs(value) >= 1e9:
        mantissa, exponent = f"{value:.2e}".split("e")
        return f"{mantissa} × 10" + str(int(exponent)).translate(RAISED)
    decimals = max(0, 2 - math.floor(math.log10(abs(value))))
    text = grouped(value, f".{decimals}f")
    return text.rstrip("0").rstrip(".") if "." in text else text


@register.filter
def count(value: float) -> str:
    """A counter's total, every digit of it, with thin gaps: ``1 284 310``."""
    return grouped(value)


@register.filter
def in_words(names: Iterable[str]) -> str:
    """``planner and engineer``."""
    ordered = sorted(names)
    return ordered[0] if len(ordered) == 1 else ", ".join(ordered[:-1]) + " and " + ordered[-1] if ordered else ""


@register.simple_tag(takes_context=True)
def sheet_links(context: dict[str, Any]) -> list[dict[str, Any]]:
    """The sheets of the signed-in person's roles, the current one marked."""
    path = getattr(context.get("request"), "path", "")
    links = []
    for name in sheets.sheets_for(context.get("my_roles", ())):
        try:
            url = reverse(name)
        except NoReverseMatch:
            continue  # a capability may be left out of a build; its sheet is then not offered
        links.append({"url": url, "word": sheets.WORDS[name], "current": path.startswith(url)})
    return links


@register.inclusion_tag("parts/touch.html")
def touch_drawing(joint: Joint, form: BaseForm) -> dict[str, Any]:
    """``{% touch_drawing joint form %}``: the joint drawn so that a touch fills the form's place of the finding."""
    touch = joint_drawing.touch_drawing(joint)
    if touch is None or touch.field not in form.fields:
        return {"touch": None}
    known = {} if touch.field == "bolts" else _of_the_run(touch, joint, form)
    return {"touch": touch, "target": form[touch.field].id_for_label, "known": known}


def _of_the_run(touch: joint_drawing.TouchDrawing, joint: Joint, form: BaseForm) -> dict[str, Any]:
    """What the script needs to work out a length from two ends, and the ids of the fields that it looks at."""
    beside = {"length": "length", "size": "size", "kind": "kind", "again": "finding_id", "note": "finding_note"}
    return {
        "run-mm": _plain(touch.run_mm),
        "diameter-mm": _plain(touch.diameter_mm),
        "unit": "in" if joint.asset.site.units == Site.Units.US else "mm",
        "by-length": " ".join(kind.code for kind in KINDS.values() if kind.measure == "length"),
        **{name: form[field].id_for_label for name, field in beside.items()},
    }


def _plain(value: float | None) -> str:
    """A figure as a script reads it, whatever the language of the page; nothing where it is not known."""
    return "" if value is None else repr(value)
