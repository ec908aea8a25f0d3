"""The rows of the due list as HTML, written as drawings are: a template took five times as long for fifty of them.

Every word that people typed goes through ``format_html``.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.template.defaultfilters import truncatechars
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from assets_app.templatetags.soundjoint import due_state, severity
from schedules.due.life_data import RowFacts
from schedules.due.list_queries import DueRow
from schedules.planning.standing import Standing
from schedules.planning.standing_orders import OpenOrder

NOTHING = SafeString("")
HELD_WORDS = 80  # letters of a reason that a row has room for


@dataclass(frozen=True)
class ShownRow:
    """One row as the page and the CSV show it."""

    due: DueRow
    site: str
    today: date
    facts: RowFacts
    standing: Standing
    life: str

    @property
    def missing(self) -> str:
        return " and ".join(self.facts.missing) + " not known" if self.facts.missing else "a figure is missing"

    @property
    def put_off_words(self) -> str:
        """``put off until 4 Jul 2026``; empty where no signature covers all that asks for the look."""
        told = self.standing.put_off
        return f"put off until {_day(told.until)}" if told else ""


def cells(row: ShownRow, *, raise_form: SafeString | None, with_site: bool) -> SafeString:
    """The five cells of a row. ``raise_form``: the CSRF field where the person may raise an order here."""
    due = row.due
    return format_html(
        '<td data-label="">{}</td><th scope="row" data-label="">{}</th><td data-label="Why then">{}</td>'
        '<td data-label="Life line" class="due-small">{}</td><td data-label="Order">{}{}</td>',
        _state(row),
        _where(row, with_site),
        _why(row),
        row.life,
        format_html_join("", '<p>{} <span class="small">{}</span></p>', _held(row)),
        _order(row.standing.order, row.today) if row.standing.order else _no_order(due, raise_form),
    )


def _state(row: ShownRow) -> SafeString:
    """How it stands, and its day; what was put off says so by word and keeps the day on which it was due."""
    due, later = row.due, row.standing.put_off
    if later is None:
        day = format_html('<br><span class="small muted number">{}</span>', _weekday(due.due_on)) if due.due_on else ""
        return due_state(due.due_on, row.today, due.unrated, row.missing) + day
    assert due.due_on is not None
    why = f"order {later.repair}: {later.reason}" if later.repair else ""
    return format_html(
        '<span class="due" data-state="put off">{}</span><br>'
        '<span class="small muted">{} <span class="number">{}</span></span>{}',
        row.put_off_words,
        "was due" if due.due_on < row.today else "due",
        _weekday(due.due_on),
        format_html('<br><span class="small">{}</span>', truncatechars(why, HELD_WORDS)) if why else NOTHING,
    )


def _weekday(day: date) -> str:
    return f"{day:%a} {_day(day)}"


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


def _where(row: ShownRow, with_site: bool) -> SafeString:
    due = row.due
    where = due.asset_name + (f", {due.joint_name}" if due.joint_name else "") + (f" · {row.site}" if with_site else "")
    return format_html(
        '<a href="{}">{} / {}</a> <span class="number">{}</span><br><span class="small muted">{}</span>',
        reverse("joint", args=[due.joint_id]),
        due.asset_tag,
        due.joint_tag,
        due.method,
        where,
    )


def _why(row: ShownRow) -> SafeString:
    due, notes = row.due, [format_html('<p class="why">{}</p>', row.facts.sentence)]
    note = '<p class="small"><span class="due" data-state="{}">{}</span></p>'
    if due.unrated and due.due_on:
        notes.append(format_html(note, "unrated", f"unrated: {row.missing}"))
    if due.unprotected:
        notes.append(format_html(note, "unprotected", f"unprotected by {due.method}"))
    if due.next_on:
        notes.append(format_html('<p class="small muted">Then {}, {}.</p>', due.next_limit, _day(due.next_on)))
    return SafeString("".join(notes))


def _held(row: ShownRow) -> list[tuple[SafeString, str]]:
    return [(severity("hold now", "held"), truncatechars(hold.reason, HELD_WORDS)) for hold in row.standing.holds]


def _order(order: OpenOrder, today: date) -> SafeString:
    parts = [
        format_html(
            '<p><a href="{}">order {}</a>: {}</p>', reverse("order", args=[order.pk]), order.number, order.words
        )
    ]
    if order.wait_words:
        parts.append(format_html('<p class="wait small">{}</p>', order.wait_words))
    if order.put_off_until:
        passed = "was " if order.put_off_until < today else ""
        reason = truncatechars(order.put_off_reason or "", HELD_WORDS)
        words = f"{passed}put off until {_day(order.put_off_until)}: {reason}"
        parts.append(format_html('<p class="wait small">{}</p>', words))
    return SafeString("".join(parts))


def _no_order(due: DueRow, raise_form: SafeString | None) -> SafeString:
    if raise_form is None:
        return SafeString('<span class="muted">no order yet</span>')
    return format_html(
        '<form method="post" action="{}" class="no-print">{}<input type="hidden" name="programme" value="{}">'
        '<button class="button">Raise order<span class="visually-hidden"> for {} of {}</span></button></form>'
        '<span class="print-only">no order yet</span>',
        reverse("due-raise"),
        raise_form,
        due.programme_id,
        due.method,
        due.joint_tag,
    )
